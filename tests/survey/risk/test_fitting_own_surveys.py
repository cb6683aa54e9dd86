"""What own surveys teach: what is read, fitted, shown, proposed and left."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from media.base import jobs
from media.base.models import Event, Job, JobState
from survey.models import Joint, OwnFit, ParameterDraft, ParameterSet, Restoration, Workshop
from survey.risk.db.selectors.own_surveys import double_pairs, own_surveys, planned, values_before_fits
from survey.risk.parameters import read
from survey.risk.stages import PRIORS, transition_matrix
from tests import builders

PAGE = "/ranking/own-surveys/"
FAST = PRIORS["pessimistic"].rates


def text(response) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def years_ago(years: float):
    return builders.NOW - timedelta(days=365.25 * years)


def nitrate_joints(count: int, workshop: Workshop | None = None) -> list[Joint]:
    """Joints that an analysis found to be cellulose nitrate, four to an object, in a store of common climate."""
    made = []
    for _ in range(0, count, 4):
        thing = builders.an_object(height_mm=200, width_mm=150)
        restoration = Restoration.objects.create(object=thing, workshop=workshop, year_earliest=1950, year_latest=1950)
        for number in range(4):
            made.append(
                Joint.objects.create(
                    restoration=restoration, label=f"J{number}", part="rim", adhesive="cellulose_nitrate", basis="ftir"
                )
            )
    return made[:count]


def look(joints, stages, *, years: float, **fields) -> None:
    """One look at all joints, object by object."""
    told: dict = {}
    for joint, stage in zip(joints, stages, strict=True):
        told.setdefault(joint.restoration.object, {})[joint] = int(stage)
    for thing, seen in told.items():
        at = years_ago(years)
        builders.an_assessment(thing, stages=seen, started_at=at, finished_at=at, old_restoration="present", **fields)


def two_rounds(count: int = 120, *, gap: float = 6.0, seed: int = 4, workshop: Workshop | None = None) -> list[Joint]:
    """Two rounds over joints that pass through their stages as the pessimistic belief says."""
    rng = np.random.default_rng(seed)
    joints = nitrate_joints(count, workshop)
    first = rng.choice(4, count)
    then = [rng.choice(5, p=transition_matrix(FAST, gap)[stage]) for stage in first]
    people = [builders.a_person(role="surveyor") for _ in range(2)]
    look(joints, first, years=gap, round=builders.a_round(), surveyor=people[0])
    look(joints, then, years=0.0, round=builders.a_round(), surveyor=people[1])
    return joints


@pytest.fixture
def fitted(conservator, django_capture_on_commit_callbacks):
    """Have the fit made from the page, and give it back."""

    def run() -> OwnFit:
        with django_capture_on_commit_callbacks(execute=True):
            assert conservator.post(f"{PAGE}fit/").status_code == 302
        job = Job.objects.filter(name="survey.risk.fit").latest("asked_at")
        assert job.state == JobState.DONE, job.error
        return OwnFit.objects.latest("asked_at")

    return run


def test_joints_that_age_fast_here_are_found_to_age_fast(fitted, reader):
    two_rounds(workshop=Workshop.objects.create(name="Kelder Row workshop"))
    fit = fitted()
    assert fit.counts["again"] == 120 and fit.counts["moves"] > 30
    low, middle, high = fit.result["life"]
    # The store's climate makes a calendar year count for less than an equivalent one: the life is that in its years.
    assert low < middle < high and middle < 0.6 * PRIORS["middle"].mean_years
    assert all(line["prior_share"] < 0.8 for line in fit.result["rates"])
    assert np.sum(fit.result["observed"]) == 120
    assert np.sum(fit.result["expected"]) == pytest.approx(120, abs=0.1)
    words = text(reader.get(PAGE))
    assert f"lives about {middle:.0f} equivalent years" in words
    assert "Kelder Row workshop" in words and "What would make this wrong?" in words
    assert "of 5 groups the chance lies in the 90 % interval" in words and "does not foretell" not in words


def test_what_is_proposed_is_a_set_that_scoring_can_read(fitted):
    two_rounds()
    fit = fitted()
    proposed = read(fit.proposed)
    lives = [prior.mean_years for prior in proposed.assumptions.priors]
    assert sorted(lives) == pytest.approx(fit.result["life"], rel=1e-3)
    middle = proposed.assumptions.priors[proposed.assumptions.middle]
    assert 1 / middle.rates == pytest.approx([line["stay"] for line in fit.result["rates"]], rel=2e-3)
    assert proposed.visits_trust == 0  # the visits are in the beliefs


def test_the_head_tries_it_out_as_a_draft_and_nothing_is_in_force_yet(fitted, head, conservator, reader):
    two_rounds()
    fit = fitted()
    assert conservator.post(f"{PAGE}{fit.pk}/propose/").status_code == 403
    assert "Try it out as a draft" not in text(reader.get(PAGE))
    before = ParameterSet.objects.count()
    assert head.post(f"{PAGE}{fit.pk}/propose/").status_code == 302
    draft = ParameterDraft.objects.get()
    assert fit.proposed.items() <= draft.values.items()
    assert ParameterSet.objects.count() == before
    assert Event.objects.filter(verb="proposed", subject_id=str(fit.pk)).exists()


def test_an_adopted_fit_says_which_set_it_became(fitted, reader):
    two_rounds()
    fit = fitted()
    ParameterSet.objects.create(
        number=7, name="From our rounds", values=fit.proposed, adopted_at=fit.finished_at + timedelta(hours=1)
    )
    assert "Adopted as parameter set 7 From our rounds" in text(reader.get(PAGE))


def test_looks_do_not_count_twice_once_they_are_adopted(fitted):
    two_rounds()
    first = fitted()
    ParameterSet.objects.create(
        number=7, name="From our rounds", values={"first": 12, **first.proposed},
        adopted_at=first.finished_at + timedelta(hours=1),
    )  # fmt: skip
    second = fitted()
    assert second.parameters.number == 7
    assert second.result["prior_life"] == first.result["prior_life"]
    assert second.result["life"] == pytest.approx(first.result["life"])
    assert values_before_fits(second.parameters.values) == {"first": 12}


def test_a_fit_is_left_and_taken_up_again(fitted, head):
    two_rounds()
    fit = fitted()
    assert "Left by" in text(head.post(f"{PAGE}{fit.pk}/leave/", follow=True))
    assert "Try it out as a draft" in text(head.post(f"{PAGE}{fit.pk}/leave/", follow=True))
    assert list(Event.objects.filter(subject_id=str(fit.pk)).values_list("verb", flat=True))[-2:] == [
        "left",
        "taken up again",
    ]


def test_too_few_repeats_are_said_with_how_many_would_do(fitted, reader):
    two_rounds(8)
    fit = fitted()
    assert fit.result is None and fit.proposed == {}
    words = text(reader.get(PAGE))
    assert "Too little yet: 8 joints of cellulose nitrate looked at more than once" in words
    assert "How many would be needed?" in words and "at least 20 joints" in words


def test_an_empty_record_is_fitted_without_fuss(fitted, reader):
    assert "Nothing is fitted yet" in text(reader.get(PAGE))
    assert fitted().counts["joints"] == 0
    assert "Too little yet" in text(reader.get(PAGE))


def test_looks_because_something_looked_bad_are_left_out(fitted):
    joints = two_rounds(40)
    look(joints[:12], [3] * 12, years=2.0, visit="looked_bad")
    fit = fitted()
    assert fit.counts["looked_bad"] == 12 and fit.counts["looks"] == 80


def test_an_opening_after_an_incident_is_exact_and_ends_the_joint(db):
    (joint,) = nitrate_joints(1)
    look([joint], [2], years=9)
    look([joint], [4], years=5, visit="incident")
    look([joint], [0], years=1)
    kept = planned(own_surveys().by_joint[joint.pk])
    assert [(each.stage, each.exact) for each in kept] == [(2, False), (4, True)]


def test_what_was_taken_down_because_it_looked_bad_counts_as_that_or_worse_at_the_next_round(fitted):
    joints = two_rounds(40)
    bad, still, unseen = nitrate_joints(4), nitrate_joints(4), nitrate_joints(4)
    for some in (bad, still, unseen):
        look(some, [1, 1, 1, 1], years=6)
        look(some, [3, 3, 3, 3], years=4, visit="looked_bad")
    for some in (bad, unseen):
        Joint.objects.filter(pk__in=[joint.pk for joint in some]).update(ended_at=years_ago(3.9))
    look(still, [3, 3, 4, 3], years=0)
    builders.an_assessment(bad[0].restoration.object, started_at=builders.NOW, old_restoration="present")
    fit = fitted()
    assert fit.counts["looked_bad"] == 12 and fit.counts["at_least"] == 4
    assert fit.counts["again"] == len(joints) + 4 + 4  # those never come to again say nothing


def test_joints_taken_down_since_stay_in(db):
    joints = nitrate_joints(2)
    look(joints, [2, 3], years=5)
    Joint.objects.filter(pk=joints[1].pk).update(ended_at=builders.NOW)
    assert {row.id for row in own_surveys().states.joints} == {joint.pk for joint in joints}


def test_two_people_in_one_round_are_a_double_look(db):
    (joint,) = nitrate_joints(1)
    first, second = (builders.a_person(role="surveyor") for _ in range(2))
    this, earlier = builders.a_round(), builders.a_round()
    look([joint], [0], years=5, round=earlier, surveyor=first)
    look([joint], [1], years=0.05, round=this, surveyor=first)
    look([joint], [2], years=0.0, round=this, surveyor=second)
    assert double_pairs(own_surveys().by_joint[joint.pk]) == [(1, 2)]


def test_double_looks_say_how_often_surveyors_err(fitted):
    joints = two_rounds(60)
    rng = np.random.default_rng(1)
    this, people = builders.a_round(), [builders.a_person(role="surveyor") for _ in range(2)]
    stages = rng.choice(4, 60)
    look(joints, stages, years=0.02, round=this, surveyor=people[0])
    look(joints, np.where(rng.random(60) < 0.2, np.minimum(stages + 1, 3), stages), years=0.01, round=this,
         surveyor=people[1])  # fmt: skip
    mistakes = fitted().result["mistakes"]
    assert mistakes["pairs"] == 60 and 0.02 < mistakes["share"] < 0.2


def test_the_job_delivered_twice_keeps_the_fit_it_made(fitted):
    two_rounds(40)
    fit = fitted()
    job = Job.objects.get(name="survey.risk.fit")
    Job.objects.filter(pk=job.pk).update(state=JobState.QUEUED)
    jobs.run(job.pk)
    assert OwnFit.objects.get().finished_at == fit.finished_at


def test_a_second_fit_is_not_started_beside_the_first(conservator, surveyor):
    assert surveyor.post(f"{PAGE}fit/").status_code == 403
    Job.objects.create(name="survey.risk.fit", asked_at=builders.NOW)
    assert "being fitted already" in text(conservator.post(f"{PAGE}fit/", follow=True))
    assert not OwnFit.objects.exists()


def test_more_joints_ask_no_more_of_the_database(reader, fitted):
    shops = [Workshop.objects.create(name=f"Workshop {n}") for n in range(6)]

    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert reader.get(PAGE).status_code == 200
        return len(queries)

    two_rounds(40, workshop=shops[0])
    fitted()
    one = count()
    for shop in shops[1:]:
        two_rounds(8, workshop=shop)
    fitted()
    assert count() == one
