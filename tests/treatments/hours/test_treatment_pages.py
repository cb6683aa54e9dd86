"""The list of treatments, one object's levels, accepting suggestions, the file: as people use them."""

from __future__ import annotations

import csv
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from survey.models import ChecklistEntry
from tests import builders
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.models import ChosenLevel, Treatment
from treatments.options.db import services as options

LIST = "/treatments/"


@pytest.fixture
def exhibition(db):
    return checklists.an_exhibition()


def numbers(response) -> list[str]:
    return [line.entry.object.number for line in response.context["page"].lines]


def test_without_an_exhibition_the_list_says_what_to_do_first(reader):
    options.ensure_levels(at=builders.NOW)
    assert "Add one with its dates first" in text(reader.get(LIST))


def test_an_empty_checklist_says_where_to_put_objects(reader, exhibition):
    page = text(reader.get(LIST))
    assert "The checklist is empty" in page and reverse("register:exhibition", args=[exhibition.pk]) in page


def test_a_page_before_levels_are_in_force_is_one_clear_line(reader):
    checklists.builders.an_exhibition(opening=checklists.in_days(30))
    response = reader.get(LIST)
    assert response.status_code == 409 and "manage.py defaults" in text(response)


def test_the_list_sums_up_and_each_chip_narrows_it_to_its_level(reader, exhibition):
    sound, failing = checklists.listed(exhibition, 0), checklists.listed(exhibition, 2)
    whole = reader.get(LIST)
    assert "0</strong> of 2 are chosen" in text(whole)
    assert {share.level.code: share.objects for share in whole.context["page"].shares if share.objects} == {
        "watch": 1, "secure": 1,
    }  # fmt: skip
    assert numbers(reader.get(LIST, {"level": "secure"})) == [failing.number]
    assert numbers(reader.get(LIST, {"level": "watch"})) == [sound.number]
    assert "No object has this level" in text(reader.get(LIST, {"level": "' OR 1=1"}))


def test_the_list_can_begin_with_the_most_hours(reader, exhibition):
    little, much = checklists.listed(exhibition, 0, number="A 1"), checklists.listed(exhibition, 3, 3, 3, number="B 2")
    assert numbers(reader.get(LIST)) == [little.number, much.number]
    assert numbers(reader.get(LIST, {"order": "hours"})) == [much.number, little.number]
    assert numbers(reader.get(LIST, {"order": "nonsense"})) == [little.number, much.number]


@pytest.mark.parametrize("order", ["section", "chance", "hours"])
def test_going_on_shows_every_object_once(reader, exhibition, order):
    for stage in range(120):
        checklists.listed(exhibition, stage % 5, entry={"section": f"{stage % 3}"})
    seen, after = [], None
    for _ in range(3):
        response = reader.get(LIST, {"order": order} | ({"after": after} if after else {}))
        seen += numbers(response)
        after = response.context["page"].next
    assert after is None and len(seen) == len(set(seen)) == 120


@pytest.mark.parametrize("after", ["nonsense", "00000000-0000-0000-0000-000000000000", "\x00"])
def test_an_address_that_the_list_did_not_make_is_refused(reader, exhibition, after):
    checklists.listed(exhibition, 0)
    assert reader.get(LIST, {"after": after}).status_code == 400


def test_a_list_of_fifty_costs_as_many_queries_as_a_list_of_one(reader, exhibition):
    def count():
        with CaptureQueriesContext(
            connection,
        ) as made:
            assert reader.get(LIST).status_code == 200
        return len(made)

    checklists.listed(exhibition, 2)
    reader.get(LIST)
    one = count()
    for stage in range(49):
        checklists.listed(exhibition, stage % 5)
    assert count() == one <= 32


def test_more_is_sent_as_rows_only(reader, exhibition):
    checklists.listed(exhibition, 2)
    part = text(reader.get(LIST, headers={"HX-Request": "true"}))
    assert "<tr" in part and "<html" not in part


@pytest.mark.parametrize("who", ["reader", "surveyor"])
def test_readers_and_surveyors_see_levels_and_cannot_choose(request, exhibition, who):
    client, thing = request.getfixturevalue(who), checklists.listed(exhibition, 2)
    assert "Accept 1" not in text(client.get(LIST))
    page = text(client.get(reverse("hours:object", args=[thing.pk])))
    assert "Suggested" in page and "Why this level" not in page
    for name, args in [("choose", [thing.pk]), ("take_back", [thing.pk]), ("accept", []), ("take_back_accepted", [])]:
        assert client.post(reverse(f"hours:{name}", args=args), {"level": "secure"}).status_code == 403
    assert not ChosenLevel.objects.exists()


def test_nobody_sees_anything_before_signing_in(client, exhibition):
    thing = checklists.listed(exhibition, 2)
    for address in (LIST, reverse("hours:object", args=[thing.pk]), reverse("hours:export"), reverse("hours:accept")):
        response = client.get(address)
        assert response.status_code == 302 and response["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("who", ["conservator", "head"])
def test_choosing_and_taking_back_on_the_page(request, exhibition, who):
    client, thing = request.getfixturevalue(who), checklists.listed(exhibition, 2)
    address = reverse("hours:object", args=[thing.pk])
    said = {"level": "watch", "why": "Lent to the workshop until May"}
    page = client.post(reverse("hours:choose", args=[thing.pk]), said, follow=True)
    assert "Watch</strong> is chosen" in text(page) and f"Chosen for {thing.number}" in text(page)
    page = client.post(reverse("hours:take_back", args=[thing.pk]), follow=True)
    assert page.redirect_chain == [(address, 302)] and "Suggested: <strong>Secure" in text(page)
    again = client.post(reverse("hours:take_back", args=[thing.pk]))
    assert again.status_code == 400 and "nothing to take back" in text(again)


def test_what_is_refused_is_said_in_place_and_keeps_what_was_typed(conservator, exhibition):
    thing = checklists.listed(exhibition, 2, restriction="Evidence of food: do not clean.")
    address = reverse("hours:choose", args=[thing.pk])
    response = conservator.post(address, {"level": "secure", "why": " ", "look_again_on": "2099-01-01"})
    assert response.status_code == 422 and "Say who agreed" in text(response) and "2099-01-01" in text(response)
    response = conservator.post(address, {"level": "watch", "why": "x" * 501})
    assert response.status_code == 422 and "at most 500 characters" in text(response)
    response = conservator.post(address, {"level": "watch", "look_again_on": "soon"})
    assert response.status_code == 422 and "Look again on: Enter a valid date" in text(response)
    response = conservator.post(address, {"level": "<script>"})
    assert response.status_code == 422 and "<script>" not in text(response).split("<main")[1]
    assert not ChosenLevel.objects.exists()


def test_an_object_that_does_not_exist_or_is_on_no_checklist(conservator, exhibition):
    nowhere = "00000000-0000-0000-0000-000000000001"
    assert conservator.get(reverse("hours:object", args=[nowhere])).status_code == 404
    stranger = checklists.a_restored(2)
    page = text(conservator.get(reverse("hours:object", args=[stranger.pk])))
    assert "on no checklist" in page and "Why this level" not in page
    response = conservator.post(reverse("hours:choose", args=[stranger.pk]), {"level": "secure"})
    assert response.status_code == 422 and "not on the checklist" in text(response)


def test_one_objects_page_costs_the_same_with_one_joint_and_with_fifty(reader, exhibition):
    def count(thing):
        with CaptureQueriesContext(connection) as made:
            assert reader.get(reverse("hours:object", args=[thing.pk])).status_code == 200
        return len(made)

    small, big = checklists.listed(exhibition, 2), checklists.listed(exhibition, *[2] * 50)
    for thing in (small, big, big, big):
        Treatment.objects.create(object=thing, level="secure", finished_on=checklists.today())
    count(small)
    assert count(small) == count(big)


def accept(client, **query):
    """Open the page that asks, and say yes."""
    page = client.get(reverse("hours:accept"), query)
    address = reverse("hours:accept") + ("?level=" + query["level"] if query else "")
    return page, client.post(address, page.context["fields"], follow=True)


def test_all_suggestions_are_accepted_after_asking_and_taken_back_in_one_touch(conservator, exhibition):
    for stage in (None, 0, 2, 3):
        checklists.listed(exhibition, stage, looked=stage is not None)
    assert "Accept 4 suggestions" in text(conservator.get(LIST))
    asked, done = accept(conservator)
    assert "Choose what is suggested for 4 objects?" in text(asked) and not done.context["page"].open
    assert ChosenLevel.objects.filter(replaced_at=None).count() == 4
    moment = done.context["page"].accepted.at.isoformat()
    assert moment in text(done) and "Take them all back" in text(done)
    back = conservator.post(reverse("hours:take_back_accepted"), {"at": moment}, follow=True)
    assert "4 levels taken back" in text(back) and not ChosenLevel.objects.filter(replaced_at=None).exists()


def test_asking_changes_nothing(conservator, exhibition):
    checklists.listed(exhibition, 2)
    assert conservator.get(reverse("hours:accept")).status_code == 200
    assert not ChosenLevel.objects.exists()


def test_only_the_level_that_is_shown_is_accepted(conservator, exhibition):
    checklists.listed(exhibition, 0), checklists.listed(exhibition, 2)
    accept(conservator, level="secure")
    assert list(ChosenLevel.objects.values_list("level", flat=True)) == ["secure"]


def test_what_a_person_chose_and_what_is_restricted_is_left_alone(conservator, exhibition):
    mine, restricted = checklists.listed(exhibition, 2), checklists.listed(exhibition, 2, restriction="Ask first.")
    checklists.listed(exhibition, 2)
    options.choose_level(exhibition, mine, "leave", by=None, at=builders.NOW)
    asked, _ = accept(conservator)
    assert "1 with a restriction is left out" in text(asked)
    assert ChosenLevel.objects.filter(replaced_at=None).count() == 2
    assert not ChosenLevel.objects.filter(object=restricted).exists()
    assert ChosenLevel.objects.get(object=mine).level == "leave"


def test_suggestions_that_changed_since_they_were_shown_are_not_accepted(conservator, exhibition):
    thing = checklists.listed(exhibition, 2)
    seen = conservator.get(reverse("hours:accept")).context["fields"]
    ChecklistEntry.objects.filter(object=thing).delete()
    checklists.listed(exhibition, 3)
    for said in (seen, {"seen": "x"}, {}):
        response = conservator.post(reverse("hours:accept"), said)
        assert response.status_code == 409 and "changed since you saw them" in text(response)
    assert not ChosenLevel.objects.exists()


def test_with_nothing_open_there_is_nothing_to_accept(conservator, exhibition):
    assert conservator.get(reverse("hours:accept")).status_code == 409


@pytest.mark.parametrize("at", ["", "yesterday", "2026-01-01", "9999-99-99T00:00:00+00:00"])
def test_taking_back_at_a_moment_that_is_none_is_refused(conservator, exhibition, at):
    assert conservator.post(reverse("hours:take_back_accepted"), {"at": at}).status_code in {400, 409}


def rows(response) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))


def test_the_list_as_a_file_holds_what_the_page_shows_and_nothing_that_computes(reader, exhibition):
    checklists.listed(exhibition, 2, number="A 1", simple_name="=HYPERLINK(1)", entry={"section": "+cmd|' /C calc'!A0"})
    chosen = checklists.listed(exhibition, 0, number="B 2")
    options.choose_level(exhibition, chosen, "leave", why="@SUM(1)", by=None, at=builders.NOW)
    response = reader.get(reverse("hours:export"))
    assert response["Content-Type"].startswith("text/csv") and "treatments-" in response["Content-Disposition"]
    first, second = sorted(rows(response), key=lambda row: row["accession_number"])
    assert first["simple_name"] == "'=HYPERLINK(1)" and first["section"].startswith("'+cmd")
    assert (first["level"], first["decided"]) == ("secure", "suggested")
    assert 0 < float(first["hours_low"]) < float(first["hours_likely"]) < float(first["hours_high"])
    assert (second["level"], second["decided"], second["why"]) == ("leave", "chosen", "'@SUM(1)")
    assert [row["accession_number"] for row in rows(reader.get(reverse("hours:export"), {"level": "secure"}))] == [
        "A 1"
    ]


def test_without_an_exhibition_there_is_no_file(reader):
    options.ensure_levels(at=builders.NOW)
    assert reader.get(reverse("hours:export")).status_code == 400
