"""Scoring and ranking from a command line: what it prints, and how it refuses."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from media.models import Job
from survey.models import Joint, ObjectRisk
from tests import builders
from tests.survey.risk import scores


def said(*command, **options) -> str:
    out = StringIO()
    call_command(*command, stdout=out, **options)
    return out.getvalue()


def seen(stage: int):
    thing = builders.an_object(joints=1, place=builders.a_place())
    builders.an_assessment(thing, stages={Joint.objects.get(restoration__object=thing): stage})
    return thing


@pytest.mark.django_db(transaction=True)
def test_score_then_rank_prints_the_worst_first():
    worst, sound = seen(4), seen(0)
    assert "2 joints of 2 objects scored; 1 must not be lifted" in said("score")
    lines = said("rank").splitlines()
    assert worst.number in lines[1] and "Do not lift" in lines[1] and worst.place.full_name in lines[1]
    assert sound.number in lines[2] and len(lines) == 3


@pytest.mark.django_db(transaction=True)
def test_score_as_json_says_what_was_done():
    seen(1)
    builders.an_exhibition(name="Salt and Smoke")
    outcome = json.loads(said("score", "--json"))
    assert outcome["objects"] == outcome["joints"] == 1 and outcome["exhibition"] == "Salt and Smoke"
    assert str(ObjectRisk.objects.get().run_id) == outcome["run"]


def test_score_refuses_in_one_line_while_another_scoring_goes_on(db):
    Job.objects.create(name="survey.risk.run", asked_at=builders.NOW)
    with pytest.raises(CommandError, match="goes on already") as refused:
        said("score")
    assert "\n" not in str(refused.value)


@pytest.mark.django_db(transaction=True)
def test_score_that_fails_says_why_and_fails(monkeypatch):
    seen(1)

    def breaks(*_: object, **__: object) -> int:
        raise ValueError("no such climate")

    monkeypatch.setattr("survey.risk.db.services.running.compute", breaks)
    with pytest.raises(CommandError, match="fault of Fettle's own"):
        said("score")


@pytest.fixture
def run(db):
    return scores.a_run(exhibition=builders.an_exhibition())


def test_rank_orders_limits_and_narrows_as_asked(run):
    plain, dear = builders.an_object(number="plain"), builders.an_object(number="dear")
    builders.an_entry(run.exhibition, plain)
    scores.a_score(run, plain, loss=0.2, weighted_loss=0.2, rank_by_weighted=2, rank_by_loss=1)
    scores.a_score(run, dear, loss=0.1, weighted_loss=0.8, rank_by_weighted=1, rank_by_loss=2)

    def numbers(*options: str) -> list[str]:
        return [row["number"] for row in json.loads(said("rank", "--json", *options))]

    assert numbers() == ["dear", "plain"]
    assert numbers("--without-significance") == ["plain", "dear"]
    assert numbers("--limit", "1") == ["dear"]
    assert numbers("--checklist") == ["plain"]


def test_rank_as_json_keeps_numbers_as_numbers(run):
    scores.a_score(run, chance=0.25)
    row = json.loads(said("rank", "--json"))[0]
    assert (row["chance_low"], row["chance_before_opening"], row["chance_high"]) == (0.125, 0.25, 0.625)
    assert row["place"] is None and row["reasons"][0].startswith("Treat or secure it")


def test_rank_never_prints_a_certainty(run):
    scores.a_score(run, chance=1.0)
    assert ">99 %" in said("rank") and "100 %" not in said("rank")


@pytest.mark.parametrize("limit", ["0", "-3", "1000000", "many"])
def test_rank_refuses_a_limit_that_is_none(run, limit):
    with pytest.raises(CommandError) as refused:
        said("rank", "--limit", limit)
    assert "--limit" in str(refused.value) and "\n" not in str(refused.value)


def test_rank_before_any_scoring_says_what_to_run(db):
    with pytest.raises(CommandError, match="Nothing is scored yet"):
        said("rank")


def test_rank_of_an_empty_run_or_checklist_fails(run):
    with pytest.raises(CommandError, match="No old joint of an object on record"):
        said("rank")
    scores.a_score(run)
    with pytest.raises(CommandError, match="on the checklist"):
        said("rank", "--checklist")


@pytest.mark.parametrize("command", ["score", "rank"])
def test_help_shows_an_example(command, capsys):
    with pytest.raises(SystemExit) as ended:
        call_command(command, "--help")
    assert ended.value.code == 0 and f"manage.py {command} --" in capsys.readouterr().out
