"""After a change the plan holds where it can: little moves, what began stays, and what must be done finds its place."""

import copy

import pytest

from tests.reference.plan_checker import check
from tests.reference.plan_instances import make
from tests.treatments.planning.core.test_first_schedule import DAY, NINE, a_step, an_instance, an_object
from treatments.forecast.simulate import simulate
from treatments.planning.buffer import with_buffer
from treatments.planning.replan import replan_instance
from treatments.planning.solve import solve_instance


@pytest.fixture(scope="module")
def season():
    instance = make(120, 41)
    return instance, solve_instance(instance, seconds=1.5)


def starts(plan):
    return {(thing, step): (person, start) for thing, step, person, start in plan["steps"]}


def test_a_sick_day_moves_few_steps_and_loses_little(season):
    instance, plan = season
    changed = copy.deepcopy(instance)
    lost = changed["staff"][0]["shifts"].pop(10)
    new = replan_instance(changed, plan)
    errors, benefit, done, mandatory = check(changed, new)
    assert errors == [] and done == mandatory
    assert benefit >= 0.99 * plan["benefit"]
    struck = {thing for thing, _, person, t in plan["steps"] if person == "S36" and lost[0] <= t < lost[1]}
    assert struck <= set(new["moved"])
    before, after = starts(plan), starts(new)
    untouched = [key for key in before if key[0] not in struck]
    assert sum(before[key] != after.get(key) for key in untouched) <= 0.05 * len(untouched)


def test_objects_said_to_have_moved_are_those_that_did(season):
    instance, plan = season
    new = replan_instance(instance, plan)
    before, after = starts(plan), starts(new)
    differ = {key[0] for key in before if before[key] != after.get(key)}
    assert differ == set(new["moved"])
    assert new["benefit"] >= plan["benefit"]


def test_a_new_mandatory_object_displaces_something(season):
    instance, plan = season
    changed = copy.deepcopy(instance)
    changed["objects"].append(copy.deepcopy(instance["objects"][5]) | {"id": "new", "mandatory": True})
    new = replan_instance(changed, plan)
    assert check(changed, new)[0] == [] and "new" in new["levels"]


def test_what_is_pinned_stays_even_where_more_could_be_gained():
    poor = an_object("poor", a_step(q=20), benefit=1, close_by=DAY)
    rich = an_object("rich", a_step(q=20), benefit=100, close_by=DAY)
    plan = {"levels": {"poor": 0}, "steps": [["poor", "exam", "ann", NINE]]}
    assert set(replan_instance(an_instance(poor, rich), plan)["levels"]) == {"rich"}
    assert set(replan_instance(an_instance(poor, rich), plan, pinned={"poor"})["levels"]) == {"poor"}


@pytest.mark.parametrize(
    "plan",
    [
        {},
        {"levels": {"gone": 0}, "steps": [["gone", "exam", "ann", NINE]]},
        {"levels": {"jar": 7}, "steps": []},
        {"levels": {"jar": 0}, "steps": [["jar", "exam", "zoe", NINE]]},
        {"levels": {"jar": 0}, "steps": [["jar", "exam", "ann", 3]]},
        {"levels": {"jar": 0}, "steps": [["jar", "exam", "ann", 10**7]]},
    ],
)
def test_an_old_plan_of_things_that_are_gone_is_passed_over(plan):
    instance = an_instance(an_object())
    assert check(instance, replan_instance(instance, plan))[:2] == ([], 10)


def test_nothing_left_to_plan():
    assert replan_instance({}, {})["levels"] == {}


def test_a_buffer_for_mandatory_objects_makes_them_sure_for_little():
    instance = make(300, 41)  # too much for the team: a full plan leaves no slack
    full = solve_instance(instance, seconds=1.5)
    early = solve_instance(with_buffer(instance, mandatory_weeks=2, other_weeks=0), seconds=1.5)
    assert check(instance, early)[0] == []
    assert early["benefit"] >= 0.97 * full["benefit"]
    sure = simulate(instance, early, trials=400, protect_weeks=0).ready_mandatory
    assert sure > simulate(instance, full, trials=400, protect_weeks=0).ready_mandatory
    assert simulate(instance, early, trials=400).ready_mandatory >= 0.95


@pytest.mark.parametrize(("weeks", "named"), [((-1, 0), "mandatory_weeks"), ((0, 1e6), "other_weeks")])
def test_a_buffer_out_of_range_is_refused_by_name(weeks, named):
    with pytest.raises(ValueError, match=named):
        with_buffer({}, mandatory_weeks=weeks[0], other_weeks=weeks[1])
