"""Arranging a plan by hand: moves, swaps, clashes, pins, undo, locked weeks; who may; what others did meanwhile."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from media.base.errors import Clash, FettleError
from media.base.models import Event, User
from tests.treatments import checklists
from treatments.models import HandMove, LockedWeek, Plan
from treatments.planning.byhand import free_places
from treatments.planning.calendar import monday_of
from treatments.planning.db import selectors, services

PAGE = "/staff/plan/"


@pytest.fixture
def plan(db) -> Plan:
    """Two objects, two people, planned; nothing moved yet."""
    made = checklists.an_exhibition()
    checklists.a_member("Ann Ware")
    checklists.a_member("Bob Glaze")
    checklists.benches()
    checklists.scored(checklists.listed(made, 3, 2), checklists.listed(made, 2, entry={"importance": 5}))
    return checklists.planned()


@pytest.fixture
def head_user(head) -> User:
    return User.objects.get(role="head")


def text(response) -> str:
    return response.content.decode().replace("\u00a0", " ").replace("&#x27;", "'")


def last_sitting(plan: Plan):
    """The last sitting of the plan: nothing follows it."""
    return plan.steps.order_by("-starts", "-pk").first()


def local(moment):
    return timezone.localtime(moment)


def other_person(step):
    return next(m for m in selectors.staff_members() if m.pk != step.staff_id)


def there(plan: Plan):
    return selectors.arranged(plan, timezone.now())


def said(step, *, days: int, who=None, **fields) -> dict:
    to = local(step.starts) + timedelta(days=days)
    return {"staff": str(who or step.staff_id), "day": f"{to:%Y-%m-%d}", "time": f"{to:%H:%M}", **fields}


def address(plan: Plan, step, tail: str = "") -> str:
    return f"{PAGE}{plan.pk}/sitting/{step.pk}/{tail}"


def a_free_place(plan: Plan, step):
    found = there(plan)
    place = free_places(found.placed, found.room, step.pk, since=found.one(step.pk).end + 1)[0]
    at = found.moment(place.start)
    return {"staff": place.person, "day": f"{at:%Y-%m-%d}", "time": f"{at:%H:%M}"}, at, place


def state(plan: Plan) -> set:
    return set(plan.steps.values_list("pk", "staff", "starts", "ends", "wait_until", "pinned_by"))


def test_a_fresh_plan_has_no_clash(plan):
    assert selectors.clashes_of(there(plan)) == set()


def test_moved_to_a_free_place_it_lies_there_pinned_and_is_said(conservator, plan):
    step = last_sitting(plan)
    form, at, place = a_free_place(plan, step)
    answer = conservator.post(address(plan, step), form)
    assert answer.status_code == 302 and monday_of(at.date()).isoformat() in answer["Location"]
    step.refresh_from_db()
    assert local(step.starts).replace(tzinfo=None) == at and str(step.staff_id) == place.person
    assert step.ends - step.starts == place.q * timedelta(minutes=15)
    assert not plan.steps.filter(object=step.object, pinned_by=None).exists()
    page = text(conservator.get(answer["Location"].split("#")[0]))
    assert "Moved and pinned" in page and step.object.number in page and "Undo the last move" in page
    assert "in this plan" not in page and Event.objects.filter(verb="moved by hand").count() == 1


def test_what_would_clash_is_shown_and_done_only_when_confirmed(conservator, plan):
    step, before = last_sitting(plan), state(plan)
    sunday = 6 - local(step.starts).weekday()
    form = said(step, days=sunday)
    answer = conservator.post(address(plan, step), form)
    assert answer.status_code == 409 and "is not at the bench on Sunday" in text(answer)
    assert "Put it there all the same" in text(answer) and state(plan) == before
    assert conservator.post(address(plan, step), form | {"sure": "on"}).status_code == 302
    page = text(conservator.get(PAGE))
    assert "1 clash in this plan" in page and "is not at the bench on Sunday" in page


def test_trying_out_says_what_would_happen_and_changes_nothing(conservator, plan):
    first, before = plan.steps.order_by("starts").first(), state(plan)
    answer = conservator.get(address(plan, first, "try/"), said(first, days=28)).json()
    assert answer["where"] and answer["along"] and state(plan) == before
    assert all(first.object.number in line for line in answer["along"])
    clashing = conservator.get(address(plan, first, "try/"), said(first, days=28, alone="on")).json()
    assert any("is over and set only on" in line for line in clashing["clashes"]) and not clashing["along"]
    assert "person and a time" in conservator.get(address(plan, first, "try/"), {"staff": "nobody"}).json()["refused"]
    assert "from now on" in conservator.get(address(plan, first, "try/"), said(first, days=-300)).json()["refused"]


def test_later_sittings_go_along_and_all_of_it_is_undone_at_once(conservator, plan):
    first, before = plan.steps.order_by("starts").first(), state(plan)
    conservator.post(address(plan, first), said(first, days=28, sure="on"))
    moved = [row for row in plan.steps.filter(object=first.object) if row.starts >= first.starts + timedelta(days=28)]
    assert len(moved) > 1 and state(plan) != before
    answer = conservator.post(f"{PAGE}{plan.pk}/undo/", {"week": local(first.starts).date().isoformat()}, follow=True)
    assert "Put back" in text(answer) and state(plan) == before
    assert "nothing left to undo" in text(conservator.post(f"{PAGE}{plan.pk}/undo/"))
    assert Event.objects.filter(verb="move by hand undone").exists()


def test_moves_are_undone_one_after_another_the_last_first(plan, head_user):
    step, before = last_sitting(plan), state(plan)
    for days in (1, 2):
        step.refresh_from_db()
        to = local(step.starts).replace(tzinfo=None) + timedelta(days)
        services.move(plan.pk, step.pk, staff=str(step.staff_id), starts=to, sure=True, by=head_user, at=timezone.now())
    services.undo_move(plan.pk, by=head_user, at=timezone.now())
    assert state(plan) != before and selectors.newest_move(plan) is not None
    services.undo_move(plan.pk, by=head_user, at=timezone.now())
    assert state(plan) == before and selectors.newest_move(plan) is None


def test_two_sittings_change_places(conservator, plan):
    found = there(plan)
    one = min((o for o in found.placed if not o.begun), key=lambda o: o.start)
    other = next(o for o in found.placed if o.thing != one.thing and not o.begun)
    answer = conservator.post(f"{PAGE}{plan.pk}/sitting/{one.key}/swap/", {"other": other.key, "sure": "on"})
    assert answer.status_code == 302
    now = there(plan)
    if one.person == other.person:
        assert {now.one(one.key).start, now.one(other.key).start} != {one.start, other.start}
    else:
        assert (now.one(one.key).start, now.one(one.key).person) == (other.start, other.person)
    assert HandMove.objects.count() == 1
    same = conservator.post(f"{PAGE}{plan.pk}/sitting/{one.key}/swap/", {"other": one.key})
    assert same.status_code == 400 and "the same one" in text(same)


def test_nobody_moves_what_somebody_moved_meanwhile(conservator, plan):
    step = last_sitting(plan)
    was = services.place_word(there(plan).one(step.pk))
    conservator.post(address(plan, step), said(step, days=7, sure="on", was=was))
    answer = conservator.post(address(plan, step), said(step, days=14, sure="on", was=was))
    assert answer.status_code == 409 and "Somebody has moved this meanwhile" in text(answer)


def test_an_undo_that_would_overwrite_something_newer_is_refused(plan, head_user):
    step = last_sitting(plan)
    starts = local(step.starts).replace(tzinfo=None) + timedelta(1)
    services.move(plan.pk, step.pk, staff=str(step.staff_id), starts=starts, sure=True, by=head_user, at=timezone.now())
    plan.steps.filter(pk=step.pk).update(starts=step.starts, ends=step.ends)
    with pytest.raises(Clash, match="lies elsewhere by now"):
        services.undo_move(plan.pk, by=head_user, at=timezone.now())


def test_moved_by_hand_it_stays_when_the_plan_is_adapted(conservator, plan):
    step = last_sitting(plan)
    form, at, _ = a_free_place(plan, step)
    conservator.post(address(plan, step), form)
    adapted = checklists.planned(adapt=True)
    row = adapted.steps.get(object=step.object, code=step.code)
    assert local(row.starts).replace(tzinfo=None) == at and row.pinned_by is not None


def test_a_locked_week_lets_nothing_in_or_out_until_it_is_unlocked(conservator, plan):
    step, before = last_sitting(plan), state(plan)
    week = {"week": local(step.starts).date().isoformat()}
    assert conservator.post(f"{PAGE}lock/", week | {"to": "locked"}).status_code == 302
    page = text(conservator.get(PAGE, week))
    assert "Unlock this week" in page and "data-hand" not in page
    refused = conservator.post(address(plan, step), said(step, days=7, sure="on"))
    assert refused.status_code == 400 and "is locked" in text(refused) and state(plan) == before
    conservator.post(f"{PAGE}lock/", week | {"to": "free"})
    assert not LockedWeek.objects.exists()
    assert conservator.post(address(plan, step), said(step, days=7, sure="on")).status_code == 302


def test_planning_again_leaves_a_locked_week_alone(conservator, plan):
    step = plan.steps.order_by("starts").first()
    conservator.post(f"{PAGE}lock/", {"week": local(step.starts).date().isoformat(), "to": "locked"})
    rows = ("object", "code", "staff", "starts")
    kept = set(plan.steps.filter(object=step.object).values_list(*rows))
    for n in range(6):
        checklists.listed(plan.exhibition, 3, 3, entry={"importance": 5}, number=f"New {n}")
    again = checklists.planned(seed=5)
    assert set(again.steps.filter(object=step.object).values_list(*rows)) == kept
    assert not again.steps.exclude(pinned_by=None).exists()  # held by the lock alone


def test_an_older_plan_and_one_that_is_being_searched_are_left_alone(plan, head_user):
    step = last_sitting(plan)
    wanted = {"staff": str(step.staff_id), "starts": local(step.starts).replace(tzinfo=None) + timedelta(7)}
    row, _ = services.start_plan(by=None, at=timezone.now(), seconds=1.0)
    offer = selectors.offer_for(row)
    services.keep_plan(row, offer, services.make_first(offer), {}, at=timezone.now(), last=False)
    with pytest.raises(Clash, match="newer plan"):
        services.move(plan.pk, step.pk, **wanted, sure=True, by=head_user, at=timezone.now())
    with pytest.raises(Clash, match="still looks"):
        services.move(row.pk, row.steps.first().pk, **wanted, sure=True, by=head_user, at=timezone.now())


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("staff", "x"),
        ("day", "2026-99-99"),
        ("day", "9999-12-31"),
        ("day", "0001-01-01"),
        ("time", "10:07"),
        ("time", ""),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_moves(conservator, plan, field, wrong):
    step, before = last_sitting(plan), state(plan)
    answer = conservator.post(address(plan, step), said(step, days=1, sure="on") | {field: wrong})
    assert answer.status_code in {400, 422} and state(plan) == before
    for other in ("x", "0", "9" * 40, "-1", ""):
        assert conservator.post(address(plan, step, "swap/"), {"other": other}).status_code == 422
        assert "refused" in conservator.get(address(plan, step, "try/"), {"other": other}).json()


def test_the_page_to_move_without_dragging_offers_places_that_fit(conservator, plan):
    step = last_sitting(plan)
    page = text(conservator.get(address(plan, step)))
    assert "Where it fits" in page and "Another place" in page and "Swap with another sitting" in page
    assert step.object.number in page
    missing = conservator.get(f"{PAGE}{plan.pk}/sitting/999999999/")
    assert missing.status_code == 404 and "not in the plan any more" in text(missing)


def test_what_is_past_stays(plan, head_user):
    step = plan.steps.order_by("starts").first()
    later = step.starts + timedelta(minutes=20)
    with pytest.raises(FettleError, match="has begun"):
        services.move(
            plan.pk, step.pk, staff=str(step.staff_id), starts=local(later).replace(tzinfo=None), sure=True,
            by=head_user, at=later,
        )  # fmt: skip


@pytest.mark.parametrize("who", ["reader", "surveyor"])
def test_readers_and_surveyors_move_nothing(request, plan, who):
    client, step = request.getfixturevalue(who), last_sitting(plan)
    page = text(client.get(PAGE, {"week": local(step.starts).date().isoformat()}))
    assert "Move to" not in page and "data-hand" not in page and "Lock this week" not in page
    for path in (address(plan, step), address(plan, step, "swap/"), f"{PAGE}{plan.pk}/undo/", f"{PAGE}lock/"):
        assert client.post(path).status_code == 403
    assert client.get(address(plan, step, "try/")).status_code == 403


def test_the_move_page_takes_as_many_queries_for_many_sittings_as_for_few(conservator, plan):
    def count(plan: Plan) -> int:
        step = last_sitting(plan)
        with CaptureQueriesContext(connection) as found:
            assert conservator.get(address(plan, step)).status_code == 200
        return len(found)

    few = count(plan)
    for _ in range(20):
        checklists.listed(plan.exhibition, 3, 2)
    assert count(checklists.planned()) == few < 30
