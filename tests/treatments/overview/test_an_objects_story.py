"""One object's page: of an object with nothing, and of one with everything."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from media.base import events
from survey.models import Fill, Joint, JointRisk, JointSeen, ObjectMove, Overpaint, Restoration, Workshop
from tests import builders
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.models import Treatment
from treatments.options.db import services as options

pytestmark = pytest.mark.django_db


def story(client, thing) -> str:
    response = client.get(reverse("overview:object", args=[thing.pk]))
    assert response.status_code == 200
    return text(response)


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator", "head"])
def test_an_object_with_nothing_recorded(request, who):
    options.ensure_levels(at=builders.NOW)
    page = story(request.getfixturevalue(who), builders.an_object(simple_name=""))
    assert "Nothing is recorded of it yet" in page and "No photograph yet" in page
    assert "no joint to score" in page and "not known" in page


def test_an_object_that_does_not_exist(reader):
    assert reader.get("/objects/00000000-0000-0000-0000-000000000001/").status_code == 404


def test_only_those_who_may_are_offered_to_survey_move_and_edit(reader, surveyor, conservator):
    options.ensure_levels(at=builders.NOW)
    thing = builders.an_object()
    assert "Look at it now" not in story(reader, thing)
    assert "Look at it now" in story(surveyor, thing) and "Move</a>" not in story(surveyor, thing)
    assert "Move</a>" in story(conservator, thing)


@pytest.fixture
def everything(db):
    """An object made, broken, restored, moved, surveyed, corrected, scored, chosen for, treated and awaited."""
    exhibition, now = checklists.an_exhibition(), timezone.now()
    checklists.a_member()
    shelf = builders.a_place(name="Shelf 3")
    thing = checklists.listed(
        exhibition, 3, 1, number="ALL 1", title="Jar with a spout", date_text="about 1720", date_earliest=1710,
        date_latest=1730, restriction="Ask the community first.", place=shelf,
        entry={"section": "At table", "need_by": checklists.in_days(40)},
    )  # fmt: skip
    campaign = Restoration.objects.get(object=thing)
    campaign.workshop, campaign.year_earliest = Workshop.objects.create(name="A former hand"), 1950
    campaign.save()
    Fill.objects.create(restoration=campaign, label="F1", part="rim", material="plaster", area_cm2=4)
    Overpaint.objects.create(restoration=campaign, label="P1", area_cm2=9)
    Joint.objects.filter(label="J1").update(adhesive="cellulose_nitrate", basis="spot_test", structural=True)
    Joint.objects.filter(label="J2").update(ended_at=now)
    ObjectMove.objects.create(object=thing, to_place=shelf, at=now - timedelta(days=400), by=builders.a_person())
    look = thing.assessments.get()
    builders.an_assessment(thing, started_at=look.started_at, finished_at=now, corrects=look, handling="do_not_lift")
    run = checklists.scored(thing)
    JointRisk.objects.create(
        run=run, joint=Joint.objects.get(label="J1"), object=thing, before_opening=0.6, move_share=0.1
    )
    options.choose_level(exhibition, thing, "secure", why="Agreed in May", by=builders.a_person(), at=now)
    options.withdraw_level(exhibition, thing, by=None, at=now + timedelta(seconds=1))
    options.choose_level(exhibition, thing, "watch", why="", by=None, at=now + timedelta(seconds=2))
    Treatment.objects.create(object=thing, level="rejoin_failing", began_on=checklists.in_days(-90))
    events.record(thing, "edited", by=None, at=now, thread=str(thing.pk), note="Height measured again")
    checklists.forecast_now()
    return thing


def test_an_object_with_everything_tells_it_in_order_of_time(reader, everything):
    page = story(reader, everything)
    stations = [
        ">Made<", ">Restored<", "Moved to Shelf 3", "corrected since", "Rejoin the failing joints",
        "Level chosen: Secure where it stands", "Needed for",
    ]  # fmt: skip
    places = [page.index(station) for station in stations]
    order = [0, 1, 3, 2, 4, 5, 6] if places[3] < places[2] else range(7)  # looked at in March 2026, moved a year ago
    assert [places[n] for n in order] == sorted(places)
    for word in (
        "about 1720", "A former hand", "2 joints, 1 fill, 1 area of overpaint", "Agreed in May", "Level taken back",
        "Level chosen: Watch", "Height measured again", "Look again", "taken down", "Cellulose nitrate",
        "Ask the community first.", "Do not lift", "60 %", "Plaster".lower(), "At table: in a case",
    ):  # fmt: skip
        assert word in page, word
    assert page.count('class="do-not-lift"') == 1


def test_a_surveyors_word_that_it_must_not_be_lifted_counts_without_a_score(reader, db):
    options.ensure_levels(at=builders.NOW)
    thing = builders.an_object()
    builders.an_assessment(thing, handling="do_not_lift")
    assert "The last surveyor said that it must not be lifted" in story(reader, thing)
    later = timezone.now()
    builders.an_assessment(thing, started_at=later, finished_at=later, handling="normal")
    assert 'class="do-not-lift"' not in story(reader, thing)


@pytest.mark.parametrize(
    ("earliest", "latest", "words"),
    [(1710, None, "1710"), (None, 1730, "1730"), (1710, 1730, "1710–1730"), (0, 0, "0")],
)
def test_a_date_of_making_that_is_half_known(reader, earliest, latest, words):
    options.ensure_levels(at=builders.NOW)
    page = story(reader, builders.an_object(date_earliest=earliest, date_latest=latest))
    assert f'<p class="when">{words}</p>' in page and "None" not in page


def test_a_level_chosen_from_a_table_that_no_longer_holds_it_is_still_named(reader, everything):
    row = everything.chosen_levels.get(replaced_at=None)
    row.level = "gone_level"
    row.save()
    assert "gone_level" in story(reader, everything)


def test_the_page_costs_the_same_with_one_joint_and_with_fifty(reader, everything):
    def count():
        with CaptureQueriesContext(connection) as made:
            story(reader, everything)
        return len(made)

    count()
    one = count()
    campaign = Restoration.objects.get(object=everything)
    for number in range(3, 53):
        joint = Joint.objects.create(restoration=campaign, label=f"J{number}")
        look = builders.an_assessment(everything, started_at=timezone.now(), finished_at=timezone.now())
        JointSeen.objects.create(assessment=look, joint=joint, stage=number % 5)
        Treatment.objects.create(object=everything, level="secure", finished_on=checklists.today())
        events.record(everything, "edited", by=None, at=timezone.now(), thread=str(everything.pk))
    assert count() == one
