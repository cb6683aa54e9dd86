"""Choosing how far to treat an object, and taking it back."""

from __future__ import annotations

from datetime import timedelta

import pytest

from media.base.errors import Clash, FettleError
from media.base.models import Event
from survey.models import ChecklistEntry
from tests import builders
from tests.treatments import checklists
from treatments.models import ChosenLevel, LevelTable
from treatments.options.db import selectors, services
from treatments.options.suggesting import Suggestion

NOW = builders.NOW


@pytest.fixture
def exhibition(db):
    return checklists.an_exhibition()


def choose(exhibition, thing, level, *, minutes=0, by=None, **said):
    return services.choose_level(exhibition, thing, level, by=by, at=NOW + timedelta(minutes=minutes), **said)


def back(exhibition, thing, *, minutes):
    services.withdraw_level(exhibition, thing, by=None, at=NOW + timedelta(minutes=minutes))


def in_force(exhibition, thing):
    row = selectors.chosen_levels(exhibition, [thing.pk]).get(thing.pk)
    return row.level if row else None


def test_a_choice_is_kept_with_who_when_and_why(exhibition):
    thing, person = checklists.listed(exhibition, 2), builders.a_person()
    row = choose(exhibition, thing, "secure", why=" the edges lift ", by=person)
    assert (row.level, row.why, row.by, row.at) == ("secure", "the edges lift", person, NOW)
    event = Event.objects.get(thread=str(thing.pk), verb="chose a level")
    assert (event.by, event.was, event.became) == (person, None, {"level": "secure", "why": "the edges lift"})


def test_the_newest_choice_counts_and_the_one_before_stays_in_the_record(exhibition):
    thing = checklists.listed(exhibition, 2)
    choose(exhibition, thing, "secure")
    choose(exhibition, thing, "watch", minutes=1)
    assert in_force(exhibition, thing) == "watch"
    assert list(ChosenLevel.objects.order_by("pk").values_list("level", "replaced_at")) == [
        ("secure", NOW + timedelta(minutes=1)),
        ("watch", None),
    ]


def test_taking_back_again_and_again_goes_back_through_all_choices_to_the_suggestion(exhibition):
    thing = checklists.listed(exhibition, 2)
    for minutes, level in enumerate(("leave", "watch", "secure")):
        choose(exhibition, thing, level, minutes=minutes)
    found = []
    for minutes in (10, 11, 12):
        back(exhibition, thing, minutes=minutes)
        found.append(in_force(exhibition, thing))
    assert found == ["watch", "leave", None]
    with pytest.raises(FettleError, match="nothing to take back"):
        back(exhibition, thing, minutes=13)


def test_what_was_taken_back_does_not_return_with_the_next_undo(exhibition):
    thing = checklists.listed(exhibition, 2)
    choose(exhibition, thing, "leave")
    choose(exhibition, thing, "watch", minutes=1)
    back(exhibition, thing, minutes=2)
    choose(exhibition, thing, "secure", minutes=3)
    back(exhibition, thing, minutes=4)
    assert in_force(exhibition, thing) == "leave"


def test_each_choice_and_each_undo_is_one_event(exhibition):
    thing = checklists.listed(exhibition, 2)
    choose(exhibition, thing, "leave")
    choose(exhibition, thing, "watch", minutes=1)
    back(exhibition, thing, minutes=2)
    told = Event.objects.filter(thread=str(thing.pk)).order_by("at").values_list("verb", "was", "became")
    assert [(verb, was, became["level"]) for verb, was, became in told] == [
        ("chose a level", None, "leave"),
        ("chose a level", {"level": "leave"}, "watch"),
        ("took a level back", {"level": "watch"}, "leave"),
    ]


def test_the_same_choice_made_twice_is_one_choice(exhibition):
    thing = checklists.listed(exhibition, 2)
    first = choose(exhibition, thing, "secure", why="lifts")
    assert choose(exhibition, thing, "secure", why="lifts", minutes=1) == first
    assert choose(exhibition, thing, "secure", why="lifts, seen again", minutes=2) != first
    assert ChosenLevel.objects.count() == Event.objects.filter(verb="chose a level").count() == 2


def test_an_object_with_a_restriction_needs_a_reason_for_work_on_it(exhibition):
    thing = checklists.listed(exhibition, 2, restriction="Ask the community first.")
    with pytest.raises(FettleError, match="Ask the community first"):
        choose(exhibition, thing, "secure", why="  ")
    assert in_force(exhibition, thing) is None
    choose(exhibition, thing, "watch")
    choose(exhibition, thing, "secure", why="agreed with the community council, 3 May", minutes=1)
    assert in_force(exhibition, thing) == "secure"


def test_an_object_that_is_not_on_the_checklist_is_refused(exhibition):
    stranger, gone = checklists.a_restored(2), checklists.listed(exhibition, 2)
    ChecklistEntry.objects.filter(object=gone).update(removed_at=NOW)
    for thing in (stranger, gone):
        with pytest.raises(FettleError, match="not on the checklist"):
            choose(exhibition, thing, "secure")


def test_a_level_that_the_department_does_not_have_is_refused(exhibition):
    with pytest.raises(FettleError, match="not in the department's table"):
        choose(exhibition, checklists.listed(exhibition, 2), "polish")


@pytest.mark.parametrize(
    ("level", "day"), [("watch", (2026, 9, 2)), ("rejoin_failing", (2028, 3, 2)), ("make_good", (2031, 3, 2))]
)
def test_without_a_day_the_level_says_when_to_look_again(exhibition, level, day):
    found = choose(exhibition, checklists.listed(exhibition, 2), level).look_again_on  # from 2 March 2026
    assert (found.year, found.month, found.day) == day


def test_the_last_of_a_month_stays_the_last_of_a_shorter_one(exhibition):
    at = NOW.replace(month=8, day=31)
    row = services.choose_level(exhibition, checklists.listed(exhibition, 2), "watch", by=None, at=at)  # six months
    assert (row.look_again_on.month, row.look_again_on.day) == (2, 28)


def test_a_day_to_look_again_that_has_passed_is_refused(exhibition):
    with pytest.raises(FettleError, match="must lie ahead"):
        choose(exhibition, checklists.listed(exhibition, 2), "watch", look_again_on=NOW.date())


def suggested(*things, level="secure"):
    return {thing.pk: Suggestion(level, "because") for thing in things}


def test_accepted_suggestions_are_chosen_with_one_event_each(exhibition):
    things = [checklists.listed(exhibition, 2) for _ in range(3)]
    person = builders.a_person()
    assert services.accept_suggestions(exhibition, suggested(*things), by=person, at=NOW) == 3
    assert {in_force(exhibition, thing) for thing in things} == {"secure"}
    told = Event.objects.filter(verb="chose a level")
    assert sorted(told.values_list("thread", flat=True)) == sorted(str(thing.pk) for thing in things)
    assert {event.by for event in told} == {person}
    row = ChosenLevel.objects.first()
    assert row.why == "As suggested: because" and row.look_again_on is not None


def test_accepted_suggestions_are_taken_back_whole_but_not_what_was_chosen_since(exhibition):
    things = [checklists.listed(exhibition, 2) for _ in range(3)]
    services.accept_suggestions(exhibition, suggested(*things), by=None, at=NOW)
    choose(exhibition, things[0], "watch", minutes=5)
    accepted = selectors.last_accepted(exhibition)
    assert (accepted.at, accepted.count) == (NOW, 2)
    assert services.withdraw_accepted(exhibition, NOW, by=None, at=NOW + timedelta(minutes=9)) == 2
    assert [in_force(exhibition, thing) for thing in things] == ["watch", None, None]
    assert Event.objects.filter(verb="took a level back").count() == 2
    assert selectors.last_accepted(exhibition) is None
    with pytest.raises(Clash, match="nothing to take back"):
        services.withdraw_accepted(exhibition, NOW, by=None, at=NOW + timedelta(minutes=10))


@pytest.mark.parametrize("fault", ["chosen meanwhile", "off the checklist", "restricted"])
def test_a_suggestion_that_no_longer_fits_stops_all_of_them(exhibition, fault):
    things = [checklists.listed(exhibition, 2) for _ in range(3)]
    if fault == "chosen meanwhile":
        choose(exhibition, things[1], "watch")
    elif fault == "off the checklist":
        ChecklistEntry.objects.filter(object=things[1]).update(removed_at=NOW)
    else:
        things[1].restriction = "Evidence of food: do not clean."
        things[1].save()
    with pytest.raises(FettleError, match=r"nothing was chosen|needs your own word"):
        services.accept_suggestions(exhibition, suggested(*things), by=None, at=NOW + timedelta(minutes=1))
    assert in_force(exhibition, things[0]) is None and in_force(exhibition, things[2]) is None


def test_the_shipped_levels_are_adopted_once(db):
    first = services.ensure_levels(at=NOW)
    assert services.ensure_levels(at=NOW + timedelta(days=1)) == first and LevelTable.objects.count() == 1


def test_pages_say_what_to_do_before_any_levels_are_in_force(db):
    with pytest.raises(Clash, match=r"manage\.py defaults"):
        selectors.table_in_use()


def test_a_new_table_is_in_force_at_once_and_the_old_one_stays(exhibition):
    body = LevelTable.objects.get().body
    body["levels"][1]["name"] = "Keep an eye on it"
    services.adopt_levels(body, reason="Clearer words", by=None, at=NOW)
    assert selectors.table_in_use().level("watch").name == "Keep an eye on it"
    assert LevelTable.objects.count() == 2 and Event.objects.filter(verb="adopted levels").count() == 1


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (lambda body: body["levels"].pop(), "lacks make_good"),
        (lambda body: body.update(schema=2), "schema"),
        (lambda body: body["steps"][0].update(base_hours=[-1, 1, 2]), "base_hours"),
    ],
)
def test_a_table_that_would_break_suggestions_or_hours_is_refused(exhibition, change, line):
    body = LevelTable.objects.get().body
    change(body)
    with pytest.raises(FettleError, match=line):
        services.adopt_levels(body, reason="because", by=None, at=NOW)
    assert LevelTable.objects.count() == 1


def test_a_table_without_a_reason_is_refused(exhibition):
    with pytest.raises(FettleError, match="Say why"):
        services.adopt_levels(LevelTable.objects.get().body, reason=" ", by=None, at=NOW)


def test_a_level_in_force_cannot_leave_the_table(exhibition):
    body = LevelTable.objects.get().body
    own = {**body["levels"][2], "code": "our_own", "name": "Our own"}
    services.adopt_levels({**body, "levels": [*body["levels"], own]}, reason="One more", by=None, at=NOW)
    choose(exhibition, checklists.listed(exhibition, 2), "our_own", minutes=1)
    with pytest.raises(FettleError, match="lacks our_own"):
        services.adopt_levels(body, reason="Fewer", by=None, at=NOW + timedelta(minutes=2))
