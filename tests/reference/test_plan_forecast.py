"""The forecast against a model of the same policy in simpy, an independent discrete-event library.

Both are given the same hours: the forecast's draws are made again here, step by step, from its noise and seed.
"""

import numpy as np
import pytest

from tests.reference.plan_instances import make
from tests.reference.plan_simpy import Season
from treatments.forecast.dispatch import uniform_cell
from treatments.forecast.noise import Noise
from treatments.forecast.simulate import simulate
from treatments.planning.greedy import greedy_plan
from treatments.planning.problem import read_instance


def drawn_hours(instance, plan, noise, seed, trial):
    """Hours of each planned step in a trial: the estimate times factors of the team, of the object and of the step."""
    key = np.random.SeedSequence(seed).generate_state(1, np.uint64)[0]
    step_cells, thing_cells, team_cells = noise.tables()
    problem = read_instance(instance)
    hours = {}
    for n, name in enumerate(problem.object_ids):
        if name not in plan["levels"]:
            continue
        common = team_cells[uniform_cell(key, trial, 0)] * thing_cells[uniform_cell(key, trial, n + 1)]
        for m, step in enumerate(problem.steps_of(problem.levels_of(n)[plan["levels"][name]]), start=1):
            own = step_cells[uniform_cell(key, trial, (n + 1) << 20 | m)]
            hours[name, problem.step_ids[step]] = problem.work.q[step] * common * own
    return hours


def without_ties(instance):
    """Nobody comes or goes at the same time as another, so that it never matters who reaches out for a hood first."""
    for n, person in enumerate(instance["staff"]):
        person["shifts"] = [[start + n, end + n] for start, end in person["shifts"]]
    return instance


@pytest.mark.parametrize("seed", [31, 32])
@pytest.mark.parametrize("ahead", [3, 60])
def test_every_object_is_ready_at_the_same_minute_as_in_simpy(seed, ahead):
    instance, noise = without_ties(make(60, seed)), Noise(sigma=0.45, shared=0.5, team_median=1.05, team_sigma=0.1)
    plan = greedy_plan(instance)
    forecast = simulate(instance, plan, trials=12, seed=seed, noise=noise, look_ahead=ahead)
    for trial in range(12):
        peer = Season(instance, plan, hours=drawn_hours(instance, plan, noise, seed, trial), ahead=ahead).run()
        done = [n for n, name in enumerate(forecast.object_ids) if peer[name] is not None]
        assert len(done) >= 58  # the library's season ends with the planned shifts
        expected = [peer[forecast.object_ids[n]] for n in done]
        assert forecast.ready[trial, done] == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("seed", [31, 32])
def test_without_noise_and_with_hoods_for_all_it_is_the_same_quarter_hour(seed):
    # Whole quarter-hours bring ties; only with hoods for all do they not depend on who reaches out first.
    instance = make(60, seed) | {"hoods": 9, "benches": 9}
    plan = greedy_plan(instance)
    forecast = simulate(instance, plan, trials=1, noise=Noise(sigma=0.0))
    peer = Season(instance, plan, hours=drawn_hours(instance, plan, Noise(sigma=0.0), 0, 0)).run()
    assert forecast.ready[0].tolist() == [peer[name] for name in forecast.object_ids]
