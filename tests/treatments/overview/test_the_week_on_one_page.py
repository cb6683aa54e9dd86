"""The weekly sheet: ready, in hand, not begun, the chance and its change, decisions needed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests import builders
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.hours.db import services as hours
from treatments.hours.db.services import Said
from treatments.models import Forecast, RunningClock, Treatment
from treatments.options.db import services as options

PAGE = "/week/"


@pytest.fixture
def exhibition(db):
    checklists.benches()
    checklists.a_member()
    return checklists.an_exhibition()


def sheet(client):
    return client.get(PAGE).context["sheet"]


def test_without_an_exhibition_the_sheet_says_what_to_do(reader, db):
    options.ensure_levels(at=builders.NOW)
    page = text(reader.get(PAGE))
    assert "No exhibition is being prepared" in page and "Add an exhibition" in page


def test_an_empty_checklist_and_no_forecast_are_a_page_too(reader, exhibition):
    page = text(reader.get(PAGE))
    assert "Of 0 objects" in page and "Nobody has made a forecast yet" in page and "None this week" in page


def test_objects_are_ready_in_hand_or_not_begun_by_section(reader, exhibition):
    begun, done, *_ = [checklists.listed(exhibition, 3, 2, entry={"section": f"{n % 2}"}) for n in range(4)]
    checklists.listed(exhibition, entry={"section": "0"})  # without old joints: nothing to do
    ann = builders.a_person()
    for thing in (begun, done):
        hours.log_time(thing, Said("examine", checklists.today(), 1.5), worker=ann, by=ann, at=timezone.now())
    hours.finish_treatment(Treatment.objects.get(object=done), surprise=None, note="", by=ann, at=timezone.now())
    shown = sheet(reader)
    assert (shown.total.ready, shown.total.in_hand, shown.total.not_begun) == (2, 1, 2)
    assert [(line.name, line.ready, line.in_hand, line.not_begun) for line in shown.sections] == [
        ("0", 1, 1, 1), ("1", 1, 0, 1),
    ]  # fmt: skip
    assert [one.row.object for one in shown.in_hand] == [begun] and shown.in_hand[0].hours == 1.5
    assert [entry.object for entry, _ in shown.finished] == [done]
    page = text(reader.get(PAGE))
    assert begun.number in page and "1½ h of" in page


def test_a_treatment_taken_up_after_it_was_finished_is_in_hand_again(reader, exhibition):
    thing, ann = checklists.listed(exhibition, 3), builders.a_person()
    hours.log_time(thing, Said("examine", checklists.today(), 1.0), worker=ann, by=ann, at=timezone.now())
    row = hours.finish_treatment(Treatment.objects.get(), surprise=None, note="", by=ann, at=timezone.now())
    hours.reopen_treatment(row, by=ann, at=timezone.now())
    assert sheet(reader).total.in_hand == 1


def test_the_chance_is_compared_with_that_of_a_week_ago(reader, exhibition):
    checklists.listed(exhibition, 3, 2)
    checklists.forecast_now()
    assert sheet(reader).change is None
    when = timezone.now() - timedelta(days=8)
    row = Forecast.objects.get()
    Forecast.objects.filter(pk=row.pk).update(
        as_of=checklists.in_days(-8), made_at=when, finished_at=when, chances={"opening": 0.4}
    )
    checklists.forecast_now()
    shown = sheet(reader)
    assert shown.change == round(100 * shown.forecast.at_opening) - 40 and shown.change > 0
    assert f"{shown.change} points more than on" in text(reader.get(PAGE))


def test_decisions_that_wait_are_named(head, exhibition):
    checklists.listed(exhibition, 3)
    checklists.listed(exhibition, 4, restriction="Ask the community first.")
    unseen = checklists.listed(exhibition, 2, looked=False)
    ann = builders.a_person(first_name="Ann")
    RunningClock.objects.create(
        worker=ann, object=unseen, step="examine", started_at=timezone.now() - timedelta(days=2)
    )
    shown = sheet(head)
    assert (shown.undecided, len(shown.restricted), shown.unseen) == (1, 1, 1)
    page = text(head.get(PAGE))
    assert "who agrees to work on them" in page and "A clock of Ann" in page and "1 not looked at" in page


def test_the_sheet_costs_the_same_for_one_object_and_for_fifty(reader, exhibition):
    def count() -> int:
        with CaptureQueriesContext(connection) as made:
            assert reader.get(PAGE).status_code == 200
        return len(made)

    ann = builders.a_person()

    def begun() -> None:
        thing = checklists.listed(exhibition, 3, 2)
        hours.log_time(thing, Said("examine", checklists.today(), 0.25), worker=ann, by=ann, at=timezone.now())

    begun()
    checklists.forecast_now()
    one = count()
    for _ in range(49):
        begun()
    assert count() == one <= 60
