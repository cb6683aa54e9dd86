"""The lists that handling and treatment go by follow each assessment: ageing cellulose nitrate, and do not lift."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime

import pytest

from survey.condition.db.services import finish_assessment
from survey.models import Assessment, Joint, JointRisk, Workshop
from survey.risk.db import services
from tests import builders
from tests.survey.risk import scores
from tests.survey.risk.test_scoring_what_is_shared import a_test, restored

LIST = "/ranking/nitrate/"
LATER = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@pytest.fixture
def commit(db, django_capture_on_commit_callbacks):
    return lambda: django_capture_on_commit_callbacks(execute=True)


@pytest.fixture
def stores(db):
    """Two rooms with a shelf each."""
    rooms = [builders.a_place(kind="room", name=name) for name in ("East store", "West store")]
    return [builders.a_place(parent=room) for room in rooms]


def a_run(commit):
    with commit():
        run, _ = services.start_run(by=None, at=builders.NOW)
    run.refresh_from_db()
    return run


def numbers(page: str, *things) -> list[str]:
    """Which of these objects a page shows, in its order."""
    return sorted((thing.number for thing in things if thing.number in page), key=page.index)


def test_the_likeliest_stands_first_with_how_sure_it_is(commit, stores, reader):
    (sure, (joint,)), (likely, _), (never, (other,)) = (restored(stage=2), restored(stage=1), restored(stage=2))
    a_test(joint)
    a_test(other, "epoxy")
    a_run(commit)
    page = reader.get(LIST).content.decode()
    assert numbers(page, sure, likely, never) == [sure.number, likely.number]
    assert "analysed" in page and "guessed" in page


def test_it_is_both_at_once_joint_by_joint(commit, db):
    """The chance of both lies between what the two would make apart and the smaller of them."""
    restored(joints=3, stage=1)
    a_run(commit)
    for row in JointRisk.objects.all():
        apart = row.class_chances["cellulose_nitrate"] * (1 - row.stage_chances[0])
        assert apart - 1e-3 <= row.nitrate_ageing <= row.class_chances["cellulose_nitrate"] + 1e-3


def test_by_place_and_by_workshop(commit, stores, reader):
    shop = Workshop.objects.create(name="Kiln lane")
    here, there = restored(stage=2, workshop=shop)[0], restored(stage=2)[0]
    for thing, shelf in zip((here, there), stores, strict=True):
        thing.place = shelf
        thing.save()
    a_run(commit)
    of_shop = reader.get(f"{LIST}?workshop={shop.pk}").content.decode()
    in_west = reader.get(f"{LIST}?place={stores[1].parent.pk}").content.decode()
    assert numbers(of_shop, here, there) == [here.number] and numbers(in_west, here, there) == [there.number]
    tallies = reader.get("/ranking/workshops/").content.decode()
    assert f"{LIST}?workshop={shop.pk}" in tallies and f"{LIST}?place={stores[0].parent.pk}" in tallies
    assert reader.get(f"{LIST}?workshop=x").status_code == 400


def test_as_a_file(commit, stores, reader):
    thing, _ = restored(stage=2)
    a_run(commit)
    text = b"".join(reader.get(f"{LIST}nitrate.csv").streaming_content).decode("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["number"] == thing.number and row["last_seen_stage"] == "failing adhesive"
    assert 0 < float(row["chance_ageing_cellulose_nitrate"]) <= float(row["chance_cellulose_nitrate"])


def test_both_lists_follow_a_survey_that_arrives(commit, stores, reader, surveyor):
    """Finished on a tablet or at a desk: the same service, and its object is scored at once."""
    thing, (joint,) = restored(stage=0, year=2020)
    a_test(joint, "epoxy")
    a_run(commit)
    assert thing.number not in reader.get(LIST).content.decode()
    assert thing.number not in reader.get("/ranking/do-not-lift/").content.decode()
    look = builders.an_assessment(
        thing, stages={joint: 3}, finished=False, started_at=LATER, old_restoration="present", handling="care",
        instability="poor", damage="fair", disfigurement="fair",
    )  # fmt: skip
    joint.evidence.update(finding="cellulose_nitrate")
    with commit():
        finish_assessment(Assessment.objects.get(pk=look.pk), by=look.surveyor, at=LATER)
    assert thing.number in reader.get(LIST).content.decode()
    assert thing.number in reader.get("/ranking/do-not-lift/").content.decode()
    assert thing.number in reader.get("/ranking/do-not-lift/notices/").content.decode()


def test_runs_that_did_not_say_show_an_empty_list(reader, db):
    run = scores.a_run()
    builders.an_object(joints=1)
    scores.a_joint_score(run, Joint.objects.get())
    assert "score the joints again" in reader.get(LIST).content.decode()


def test_nothing_scored_yet_says_what_to_do_first(reader, db):
    assert "Go to the ranking" in reader.get(LIST).content.decode()
    assert reader.get(f"{LIST}nitrate.csv").status_code == 404


@pytest.mark.parametrize("count", [1, 50])
def test_the_list_costs_the_same_for_one_joint_and_for_fifty(count, reader, db, django_assert_num_queries):
    run = scores.a_run()
    builders.an_object(joints=count)
    for joint in Joint.objects.all():
        scores.a_joint_score(run, joint, nitrate_ageing=0.4)
    with django_assert_num_queries(8):
        page = reader.get(LIST)
    assert len(page.context["page"].rows) == count


def test_fifty_first_then_more(reader, db):
    run = scores.a_run()
    builders.an_object(joints=60)
    for number, joint in enumerate(Joint.objects.all()):
        scores.a_joint_score(run, joint, nitrate_ageing=0.1 + number / 100)
    first = reader.get(LIST).context["page"]
    rest = reader.get(LIST, {"after": first.next}, headers={"HX-Request": "true"}).context["page"]
    found = [line.risk.nitrate_ageing for line in (*first.rows, *rest.rows)]
    assert len(found) == 60 and found == sorted(found, reverse=True)
