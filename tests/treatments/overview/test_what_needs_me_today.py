"""The first page for each role: empty, without an exhibition, full; and the settings page."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from media.base.models import Role
from survey.models import Joint
from survey.risk.db import services as risk
from tests import builders
from tests.treatments import checklists
from treatments.models import LoggedTime, Treatment
from treatments.options.db import services as options

NOW = builders.NOW
pytestmark = pytest.mark.django_db


def text(response) -> str:
    return response.content.decode().replace("\u00a0", " ").replace("&gt;", ">").replace("&lt;", "<")


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator", "head"])
def test_an_empty_register_says_where_to_begin(request, who):
    page = text(request.getfixturevalue(who).get("/"))
    assert "Where to begin?" in page and "Bring in a register" in page


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator", "head"])
def test_without_an_exhibition_the_page_stands(request, who):
    checklists.scored(checklists.a_restored(3))
    page = text(request.getfixturevalue(who).get("/"))
    assert "<strong>1</strong> object must not be lifted" in page and "No exhibition is being prepared" in page


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator", "head"])
def test_an_exhibition_without_dates_objects_staff_or_scores_breaks_nothing(request, who):
    made = checklists.an_exhibition()
    made.milestones.all().delete()
    builders.an_object()
    assert "It has no dates yet" in text(request.getfixturevalue(who).get("/"))


def test_nobody_sees_it_before_signing_in(client):
    assert client.get("/")["Location"].startswith("/sign-in/")


@pytest.fixture
def full(db):
    """An exhibition with objects in every state, a scoring, a forecast, a treatment under way."""
    made = checklists.an_exhibition()
    checklists.a_member()
    shelf = builders.a_place(name="Shelf 7")
    lifted = checklists.listed(made, 4, number="DL 1", place=shelf)
    checklists.listed(made, 2, number="ASK 1", restriction="Ask first.")
    builders.an_entry(made, builders.an_object(number="UNSEEN 1", place=shelf), need_by=checklists.in_days(20))
    builders.an_entry(made, builders.an_object(number="LOST 1"))
    checklists.scored(lifted, *(entry.object for entry in made.entries.filter(object__number="ASK 1")))
    job = Treatment.objects.create(object=lifted, level="secure", began_on=checklists.in_days(-3))
    for hours in (2.0, 1.5):
        LoggedTime.objects.create(
            treatment=job, step="x", worker=builders.a_person(), on=checklists.in_days(-2), hours=hours, at=NOW
        )
    checklists.forecast_now()
    return made


def order_of(page: str, *headings: str) -> list[int]:
    places = [page.index(heading) for heading in headings]
    assert all(place > 0 for place in places)
    return places


def test_a_surveyor_sees_first_what_they_began_and_the_shelves_left(full, db):
    person = builders.a_person(role=Role.SURVEYOR)
    client = Client()
    client.force_login(person)
    begun = builders.an_object(number="BEGUN 1")
    builders.an_assessment(begun, finished=False, surveyor=person)
    builders.an_assessment(builders.an_object(number="OTHERS 1"), finished=False)
    page = text(client.get("/"))
    places = order_of(page, "Begun by you, not finished", "Shelves left", "Do not lift: 2", "Dates ahead")
    assert places == sorted(places)
    assert "BEGUN 1" in page and "OTHERS 1" not in page
    assert "Shelf 7" in page and "1 object, the first by" in page and "Place not known" in page
    assert "<strong>2</strong> of 4 on the checklist have not been looked at" in page


def test_a_conservator_sees_first_the_bench_and_the_levels_to_choose(full, conservator):
    page = text(conservator.get("/"))
    places = order_of(page, "On the bench", "Levels to choose", "Do not lift: 2", "Dates ahead")
    assert places == sorted(places)
    assert "3½ h so far" in page and "<strong>2</strong> objects with old joints wait for a level" in page
    options.choose_level(full, full.entries.get(object__number="DL 1").object, "secure", by=None, at=timezone.now())
    page = text(conservator.get("/"))
    assert "<strong>1</strong> object with old joints waits for a level" in page


def test_an_empty_bench_comes_after_the_levels_to_choose(full, conservator):
    Treatment.objects.update(finished_on=checklists.today())
    page = text(conservator.get("/"))
    places = order_of(page, "Levels to choose", "On the bench")
    assert places == sorted(places) and "No treatment is begun" in page


def test_a_head_sees_first_the_chance_and_the_decisions_waiting(full, head):
    page = text(head.get("/"))
    places = order_of(page, "to be ready on opening day", "Decisions waiting", "Dates ahead", "In the last seven days")
    assert places == sorted(places)
    assert "2 levels not chosen" in page and "1 with a restriction" in page and "2 not looked at" in page
    assert "The chance that all is ready on opening day is <strong>" in page
    options.choose_level(
        full, full.entries.get(object__number="ASK 1").object, "secure", why="Agreed", by=None, at=timezone.now()
    )
    page = text(head.get("/"))
    assert "1 level not chosen" in page and "with a restriction" not in page
    assert "1 change since the forecast" in page


def test_a_reader_sees_how_things_stand(full, reader):
    page = text(reader.get("/"))
    assert "How do things stand?" in page and "In the last seven days" in page and "Decisions waiting" not in page
    assert "All 2, with notices for the shelves" in page


def test_whoever_set_fettle_up_sees_what_a_head_sees(full, db):
    client = Client()
    client.force_login(builders.a_person(role=Role.READER, is_superuser=True))
    assert "Decisions waiting" in text(client.get("/"))


def test_the_last_seven_days_count_what_was_done_in_them(full, reader):
    now, thing = timezone.now(), builders.an_object()
    for days in (1, 6, 9):
        at = now - timedelta(days=days)
        builders.an_assessment(thing, started_at=at, finished_at=at)
        Treatment.objects.create(object=thing, level="secure", finished_on=at.date())
    week = reader.get("/").context["today"].week
    assert (week["looked"], week["treated"]) == (2, 2)


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator", "head"])
def test_the_page_costs_as_many_queries_with_fifty_of_everything_as_with_one(request, full, who):
    client = request.getfixturevalue(who)

    def count():
        with CaptureQueriesContext(connection) as made:
            assert client.get("/").status_code == 200
        return len(made)

    count()
    one = count()
    things = [checklists.listed(full, stage % 5, place=builders.a_place()) for stage in range(50)]
    for _ in range(50):
        builders.an_entry(full, builders.an_object(place=builders.a_place()))
    checklists.scored(*things)
    for thing in things:
        Treatment.objects.create(object=thing, level="secure", began_on=checklists.today())
    checklists.forecast_now()
    assert count() == one <= 40


def test_settings_say_what_the_numbers_rest_on_also_before_there_are_any(reader, db):
    options.ensure_levels(at=NOW)
    page = text(reader.get("/settings/"))
    assert "fewer than ten treatments are finished" in page and "No treatment is finished yet" in page
    risk.ensure_parameters(at=NOW)
    thing = builders.an_object()
    for _ in range(10):
        job = Treatment.objects.create(
            object=thing, level="secure", estimate={"x": [2, 2, 2]}, finished_on=checklists.today()
        )
        LoggedTime.objects.create(
            treatment=job, step="x", worker=builders.a_person(), on=checklists.today(), hours=3.0, at=NOW
        )
    page = text(reader.get("/settings/"))
    assert "times 1.50, as your own 10 finished treatments" in page and Joint.objects.count() == 0
