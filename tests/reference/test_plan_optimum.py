"""Plans, bounds and level choice against optima that CP-SAT, an independent solver, proves."""

import pytest
from ortools.sat.python import cp_model

from tests.reference.plan_checker import check
from tests.reference.plan_cpsat import solve
from tests.reference.plan_instances import make
from treatments.planning.knapsack import choose_levels
from treatments.planning.solve import solve_instance


def a_short_season(seed, people):
    """Eight objects for two or three people in four weeks, all there from the start: too much work for the time."""
    instance = make(8, seed, 6)
    instance["weeks"], instance["staff"] = 4, instance["staff"][:people]
    instance["staff"][-1]["skills"] = [*instance["staff"][-1]["skills"], "photo", "mount", "retouch"]
    for person in instance["staff"]:
        person["shifts"] = [s for s in person["shifts"] if s[1] <= 4 * 672][::2]
    for thing in instance["objects"]:
        early = thing["close_by"] - 3 * 672
        thing.update(release=0, mandatory=False, close_by=3 * 672, photo_by=3 * 672 - 96, mount_by=3 * 672)
        assert early > 0
    return instance


@pytest.mark.parametrize(("seed", "people"), [(3, 2), (4, 2), (5, 3)])
def test_small_plans_reach_the_proven_optimum_and_no_bound_lies_below_it(seed, people):
    instance = a_short_season(seed, people)
    status, optimum, _, peer = solve(instance, seconds=40)
    assert status == "OPTIMAL" and check(instance, peer)[0] == []
    plan = solve_instance(instance, seconds=2)
    assert check(instance, plan)[0] == []
    assert plan["bound"] >= optimum - 1e-6
    assert plan["benefit"] == pytest.approx(optimum, rel=0.01)
    assert plan["benefit"] <= optimum


@pytest.mark.parametrize(("objects", "seed", "share"), [(60, 7, 0.2), (60, 8, 0.5), (120, 9, 0.3)])
def test_level_choice_is_what_cp_sat_proves(objects, seed, share):
    things = make(objects, seed)["objects"]
    quarters = [[sum(s["q"] for s in level["steps"]) for level in thing["levels"]] for thing in things]
    benefits = [[level["benefit"] for level in thing["levels"]] for thing in things]
    budget = int(share * sum(map(max, quarters)))
    model = cp_model.CpModel()
    takes = [[model.new_bool_var("") for _ in levels] for levels in quarters]
    for own in takes:
        model.add(sum(own) <= 1)
    flat = [(q, b, t) for n in range(objects) for q, b, t in zip(quarters[n], benefits[n], takes[n], strict=True)]
    model.add(sum(q * t for q, _, t in flat) <= budget)
    model.maximize(sum(b * t for _, b, t in flat))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = 60
    solver.parameters.num_workers = 2
    assert solver.solve(model) == cp_model.OPTIMAL
    found = choose_levels(quarters, benefits, budget)
    assert found.benefit == solver.objective_value
    assert found.quarters <= budget
