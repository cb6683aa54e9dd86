"""A run in the light of the whole collection: shared adhesives and paces, draws, ties, the first few."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from media.base import bulk, jobs
from media.base.models import Job, JobState
from survey.models import (
    AdhesiveEvidence,
    Joint,
    JointRisk,
    ObjectDraws,
    ObjectRisk,
    ParameterSet,
    Restoration,
    RiskRun,
    Workshop,
)
from survey.risk.db.services import ordering, scoring
from survey.risk.db.services.ordering import packed, unpacked
from survey.risk.draws import intervals
from tests import builders
from tests.survey.risk import scores

NOW = builders.NOW


def restored(*, joints: int = 1, workshop: Workshop | None = None, year: int | None = 1952, stage: int | None = None):
    """An object and its joints; all seen at ``stage`` in a round."""
    thing = builders.an_object(joints=joints, height_mm=300, width_mm=200)
    Restoration.objects.filter(object=thing).update(workshop=workshop, year_earliest=year, year_latest=year)
    held = list(Joint.objects.filter(restoration__object=thing))
    if stage is not None:
        builders.an_assessment(thing, stages=dict.fromkeys(held, stage))
    return thing, held


def a_test(joint: Joint, finding: str = "cellulose_nitrate") -> None:
    AdhesiveEvidence.objects.create(joint=joint, basis="ftir", finding=finding, at=NOW)


def nitrate(run: RiskRun, joint: Joint) -> float:
    return JointRisk.objects.get(run=run, joint=joint).class_chances.get("cellulose_nitrate", 0.0)


def test_a_test_on_one_joint_speaks_for_the_others_of_its_restoration_and_of_its_workshop(score):
    shop = Workshop.objects.create(name="A")
    _, (first, second) = restored(joints=2, workshop=shop)
    _, (third,) = restored(workshop=shop)
    _, (of_another_time,) = restored(workshop=shop, year=1905)
    _, (stranger,) = restored(workshop=Workshop.objects.create(name="B"))
    before = score()
    a_test(first)
    after = score()
    gained = {joint: nitrate(after, joint) - nitrate(before, joint) for joint in (first, second, third, stranger)}
    assert gained[first] > gained[second] > gained[third] > 0.03
    assert gained[stranger] == pytest.approx(0, abs=1e-3)
    assert nitrate(after, of_another_time) == pytest.approx(nitrate(before, of_another_time), abs=1e-3)
    said = {
        each["code"]: each["text"]
        for each in ObjectRisk.objects.get(run=after, object=third.restoration.object).reasons
    }
    assert "other work of the same workshop and period" in said["adhesive"]


def test_rounds_bend_the_pace_and_looks_made_because_it_looked_bad_do_not(score):
    things = [restored(joints=2, year=1990) for _ in range(8)]
    for thing, held in things:
        builders.an_assessment(thing, stages=dict.fromkeys(held, 0), started_at=datetime(2016, 3, 2, tzinfo=UTC))
        builders.an_assessment(thing, stages=dict.fromkeys(held, 3), visit="looked_bad")
    suspicious = score().learned
    assert suspicious["pace_prior_share"] == pytest.approx(1, abs=1e-6)
    for thing, held in things:
        builders.an_assessment(thing, stages=dict.fromkeys(held, 3))
    learned = score().learned
    assert learned["pace_prior_share"] < 0.9
    assert learned["mean_years"][1] < suspicious["mean_years"][1]


def test_what_has_lasted_until_the_first_look_says_nothing_of_the_pace(score):
    """Those that did not last were made anew and left no trace: a lifetime of survivors must not look long."""
    for _ in range(8):
        restored(joints=2, year=1900, stage=0)
    assert score().learned["pace_prior_share"] == pytest.approx(1, abs=1e-6)


def test_the_chance_lies_between_that_of_the_worst_joint_and_of_independent_joints(score):
    thing, _ = restored(joints=6, stage=2)
    row = ObjectRisk.objects.get(run=score(builders.an_exhibition()), object=thing)
    worst = max(JointRisk.objects.filter(object=thing).values_list("before_opening", flat=True))
    apart = 1 - np.prod([1 - chance for chance in JointRisk.objects.values_list("before_opening", flat=True)])
    assert worst < row.before_opening < apart
    codes = [each["code"] for each in row.reasons]
    assert "shared-causes" in codes and "independence" not in codes and "made-of-1" in codes


def test_the_interval_is_that_of_the_stored_draws_and_holds_the_chance(score):
    for stage in (None, 0, 1, 2, 3):
        restored(joints=2, stage=stage)
    run = score(builders.an_exhibition())
    rows = list(ObjectRisk.objects.filter(run=run).order_by("object_id"))
    stored = dict(ObjectDraws.objects.filter(run=run).values_list("object_id", "chances"))
    found = intervals(unpacked([stored[row.object_id] for row in rows]))
    for row, low, high in zip(rows, found.low, found.high, strict=True):
        assert row.before_opening_low == pytest.approx(min(low, row.before_opening), abs=1e-4)
        assert row.before_opening_high == pytest.approx(max(high, row.before_opening), abs=1e-4)
        assert row.before_opening_low < row.before_opening_high


def test_batches_of_any_size_give_the_same_scores(score, monkeypatch):
    shop = Workshop.objects.create(name="A")
    for n in range(5):
        _, held = restored(joints=1 + n % 3, workshop=shop if n % 2 else None, stage=n % 3)
    a_test(held[0])
    columns = (
        "object_id",
        "before_opening",
        "before_opening_low",
        "before_opening_high",
        "loss",
        "among_first",
        "ties",
    )
    whole = list(ObjectRisk.objects.filter(run=score()).order_by("object_id").values_list(*columns))
    monkeypatch.setattr(scoring, "BATCH", 2)
    parts = list(ObjectRisk.objects.filter(run=score()).order_by("object_id").values_list(*columns))
    for one, other in zip(whole, parts, strict=True):
        assert one[0] == other[0] and one[6] == other[6]
        assert one[1:6] == pytest.approx(other[1:6], rel=1e-9)


def test_equal_objects_are_tied_and_share_the_first_places(score, db):
    worse = [restored(stage=3, joints=3)[0].pk for _ in range(2)]
    equal = [restored(stage=1)[0].pk for _ in range(4)]
    run = score()
    run.parameters.values = {"first": 4}
    run.parameters.save()
    bulk.update_rows(ObjectRisk, ordering.STANDS, ordering.order_of(run))
    rows = {row.object_id: row for row in ObjectRisk.objects.filter(run=run)}
    assert {tuple(rows[pk].ties["weighted"]) for pk in equal} == {(3, 6)}
    assert all(rows[pk].rank_by_weighted <= 2 for pk in worse)
    assert sum(row.among_first for row in rows.values()) == pytest.approx(4, abs=1e-3)
    assert all(rows[pk].among_first == 1 for pk in worse) and all(0.3 < rows[pk].among_first < 0.7 for pk in equal)


def test_what_must_not_be_lifted_is_never_tied_with_what_may(score):
    thing, _ = restored(stage=1)
    twin, _ = restored(stage=1)
    builders.an_assessment(thing, handling="do_not_lift", started_at=datetime(2026, 3, 2, 10, tzinfo=UTC))
    run = score()
    first = ObjectRisk.objects.get(run=run, object=thing)
    assert first.ties["weighted"] == [1, 1]
    assert ObjectRisk.objects.get(run=run, object=twin).ties["weighted"] == [2, 2]


def test_only_the_newest_run_keeps_its_draws(score):
    restored(stage=1)
    old, new = score(), score()
    assert not ObjectDraws.objects.filter(run=old).exists() and ObjectDraws.objects.filter(run=new).exists()


def test_a_run_from_before_draws_stays_readable_and_learns_when_something_is_scored_in_it_again(
    score, reader, django_capture_on_commit_callbacks
):
    thing, (joint,) = restored(stage=1)
    run = scores.a_run()
    scores.a_score(run, thing)
    scores.a_joint_score(run, joint)
    for page in ("/ranking/", f"/ranking/objects/{thing.pk}/", "/ranking/export/?format=csv"):
        assert reader.get(page).status_code == 200
    assert ">tied," not in reader.get("/ranking/").content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        job = jobs.enqueue("survey.risk.rescore", objects=[str(thing.pk)])
    assert Job.objects.get(pk=job.pk).state == JobState.DONE
    row = ObjectRisk.objects.get(run=run, object=thing)
    assert row.among_first == 1 and row.ties["weighted"] == [1, 1]


def test_ties_and_the_chance_to_be_first_are_shown(score, reader):
    ParameterSet.objects.create(number=1, name="Two at a time", values={"first": 2}, adopted_at=NOW)
    things = [restored(stage=2, joints=2)[0] for _ in range(3)]
    score(builders.an_exhibition())
    page = reader.get("/ranking/").content.decode()
    assert page.count("tied, 1 to 3") == 3
    story = reader.get(f"/ranking/objects/{things[0].pk}/").content.decode()
    assert "tied for ranks 1 to 3 with significance" in story
    assert "belongs to the first 2," in story and "What the chance is made of" in story


def test_draws_are_stored_to_within_a_hundred_thousandth():
    chances = np.random.default_rng(0).random((3, 200)).astype(np.float32)
    assert unpacked(packed(chances)) == pytest.approx(chances, abs=1e-5)
