"""Days of illness and surprises at taking down, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from tests.reference.plan_instances import make
from tests.treatments.forecast.core.test_simulating import (
    CERTAIN,
    DAY,
    NINE,
    a_plan,
    a_step,
    an_instance,
    an_object,
    five_days,
)
from treatments.forecast.mishaps import WORKING_DAYS, Mishaps
from treatments.forecast.simulate import simulate
from treatments.planning.greedy import greedy_plan


def taken_down(name: str, *, close_by: int = 30 * DAY) -> dict:
    """An object of one hour's taking down, one hour's joining after it, and one hour of looking before."""
    return an_object(
        name, a_step("look", 4), a_step("apart", 4, preds=["look"], kind="take_down"),
        a_step("join", 4, preds=["apart"]),
        close_by=close_by,
    )  # fmt: skip


def worked(*objects: dict, mishaps: Mishaps, trials: int = 4_000) -> np.ndarray:
    """Quarter-hours that one person works in each trial, hours being certain but for surprises."""
    skills = ("exam",)
    instance = an_instance(*objects, staff=[five_days(skills)])
    plan = a_plan(*((o["id"], s["id"], None, None) for o in objects for s in o["levels"][0]["steps"]))
    forecast = simulate(instance, plan, trials=trials, noise=CERTAIN, mishaps=mishaps)
    return np.array([forecast.load[0].mean_hours * 4, *forecast.ready.max(axis=1)])


def test_without_mishaps_nothing_changes_to_the_last_bit():
    instance = make(20, seed=2)
    plan = greedy_plan(instance)
    plain, none = (simulate(instance, plan, trials=200, **given) for given in ({}, {"mishaps": Mishaps.of()}))
    assert np.array_equal(plain.ready, none.ready) and np.array_equal(plain.missed, none.missed)


@pytest.mark.parametrize("spell", [1.0, 4.0, 12.0])
def test_in_the_long_run_as_many_days_are_missed_as_were_said(spell):
    lost = 20.0
    long = an_object("long", a_step("exam", 28 * 400), close_by=10 * DAY)
    forecast = simulate(
        an_instance(long), a_plan(("long", "exam", "ann", NINE)), trials=300, noise=CERTAIN,
        mishaps=Mishaps.of(sick_days=lost, spell_days=spell),
    )  # fmt: skip
    # 400 shifts at five a week; a share f of all shifts is missed, so they take 1 / (1 - f) times as long.
    weeks = forecast.ready.mean() / (7 * DAY)
    assert weeks == pytest.approx(80 / (1 - lost / WORKING_DAYS), rel=0.012)


def test_an_illness_lasts_as_many_days_on_average_as_was_said():
    spells = Mishaps.of(sick_days=10, spell_days=5).spell / DAY
    assert spells.mean() == pytest.approx(5, rel=0.002) and spells.min() == 1
    # Geometric: the share of illnesses over k days is (1 - 1/mean)^k.
    assert (spells > 3).mean() == pytest.approx(0.8**3, abs=1e-3)


@pytest.mark.parametrize(("already", "mean"), [(False, 8 + 4 * (1 + 0.3 * 0.5)), (True, 12.0)])
def test_a_surprise_adds_to_the_steps_after_taking_down_alone(already, mean):
    sure = (0.3e5, 0.7e5)
    found = worked(taken_down("a"), mishaps=Mishaps.of(chance=sure, extra=0.5, in_hours_already=already))
    assert found[0] == pytest.approx(mean, rel=0.005)
    ends = np.unique(found[1:].round(3))
    assert len(ends) == 2 and ends[1] - ends[0] == pytest.approx(4 * 0.5 * (1 / 1.15 if already else 1), abs=0.01)


def test_objects_that_are_not_taken_down_hold_no_surprise():
    plain = an_object("a", a_step("look", 4), a_step("join", 4, preds=["look"]))
    assert set(worked(plain, mishaps=Mishaps.of(chance=(5e4, 5e4), extra=2.0))[1:].tolist()) == {NINE + 8.0}


def test_an_unknown_chance_is_shared_by_all_objects_of_a_trial():
    """With a flat prior every count of surprises is as likely as any other (Laplace's rule of succession)."""
    things = [taken_down(f"o{n}") for n in range(4)]
    found = worked(*things, mishaps=Mishaps.of(chance=(1.0, 1.0), extra=0.25), trials=20_000)[1:]
    counts = np.bincount((found - found.min()).round().astype(int), minlength=5) / found.size
    assert counts == pytest.approx([0.2] * 5, abs=0.012)


def test_the_same_seed_gives_the_same_illnesses_whatever_the_plan():
    instance = make(30, seed=3)
    mishaps = Mishaps.of(sick_days=12, chance=(2, 8), extra=0.4)
    first = simulate(instance, greedy_plan(instance), trials=100, mishaps=mishaps, threads=1)
    again = simulate(instance, greedy_plan(instance), trials=100, mishaps=mishaps, threads=4)
    assert np.array_equal(first.ready, again.ready)
    calm = simulate(instance, greedy_plan(instance), trials=100)
    assert first.ready.mean() > calm.ready.mean()


@pytest.mark.parametrize(
    ("given", "words"),
    [({"sick_days": -1}, "sick_days"), ({"sick_days": 200}, "sick_days"), ({"spell_days": 0.5}, "spell_days"),
     ({"extra": 9}, "extra"), ({"chance": (0, 1)}, "chance"), ({"sick_days": float("nan")}, "sick_days")],
)  # fmt: skip
def test_what_cannot_be_is_refused(given, words):
    with pytest.raises(ValueError, match=words):
        Mishaps.of(**given)
