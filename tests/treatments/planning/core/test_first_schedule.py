"""The first schedule: valid, mandatory objects first, and a reason for every object left out."""

import pytest

from tests.reference.plan_checker import check
from tests.reference.plan_instances import make
from treatments.planning.greedy import greedy_plan

DAY = 96
NINE = 36


def a_step(name="exam", q=4, *, skill="exam", cure=0, preds=(), resource=None, kind=None):
    return {
        "id": name,
        "kind": kind or name,
        "skill": skill,
        "resource": resource,
        "q": q,
        "cure": cure,
        "preds": list(preds),
    }


def an_object(name="jar", *steps, close_by=5 * DAY, benefit=10, mandatory=False, release=0):
    return {
        "id": name,
        "case": "case 1",
        "mandatory": mandatory,
        "release": release,
        "photo_by": close_by,
        "mount_by": close_by,
        "close_by": close_by,
        "levels": [{"name": "secure", "benefit": benefit, "steps": list(steps or (a_step(),))}],
    }


def an_instance(*objects, shifts=None, skills=("exam",), hoods=1):
    shifts = [[d * DAY + NINE, d * DAY + NINE + 28] for d in range(5)] if shifts is None else shifts
    return {
        "weeks": 1,
        "staff": [{"id": "ann", "skills": list(skills), "shifts": shifts}],
        "hoods": hoods,
        "benches": 1,
        "objects": list(objects),
    }


@pytest.mark.parametrize(("objects", "seed", "team"), [(60, 5, 1), (300, 1, 1), (200, 9, 3)])
def test_the_independent_checker_finds_no_error(objects, seed, team):
    instance = make(objects, seed, 14, team)
    errors, benefit, done, mandatory = check(instance, greedy_plan(instance))
    assert errors == []
    assert done == mandatory
    assert benefit > 0


def test_a_mandatory_object_comes_before_one_that_is_worth_more():
    dull = an_object("dull", a_step(q=24), mandatory=True, benefit=1, close_by=DAY)
    fine = an_object("fine", a_step(q=24), benefit=900, close_by=DAY)
    assert greedy_plan(an_instance(fine, dull))["levels"] == {"dull": 0}


def test_a_cure_runs_over_night_and_uses_nobody():
    jar = an_object("jar", a_step("join", 8, cure=40), a_step("fill", 8, preds=["join"]))
    bowl = an_object("bowl", a_step(q=4), benefit=1)
    plan = greedy_plan(an_instance(jar, bowl))
    starts = {(o, s): t for o, s, _, t in plan["steps"]}
    assert starts["jar", "join"] == NINE
    assert starts["jar", "fill"] == DAY + NINE  # 9 h + 2 h + 10 h of cure is past the shift: next morning
    assert starts["bowl", "exam"] == NINE + 8


@pytest.mark.parametrize(
    ("thing", "staff", "code"),
    [
        (an_object("jar", a_step(skill="retouch")), {}, "no_skill"),
        (an_object("jar", a_step(q=29)), {}, "too_long"),
        (an_object("jar", a_step(q=40_000)), {}, "too_long"),
        (an_object("jar", close_by=-3), {}, "date_past"),
        (an_object("jar", close_by=NINE + 3), {}, "no_time"),
        (an_object("jar", a_step(resource="hood")), {"hoods": 0}, "no_resource"),
        (an_object("jar"), {"shifts": []}, "no_shift"),
        ({"id": "jar", "levels": []}, {}, "no_level"),
        (
            an_object("jar", *(a_step(f"join{n}", 16, preds=[f"join{n - 1}"] if n else []) for n in range(2_500))),
            {},
            "no_time",
        ),
    ],
)
def test_an_object_that_cannot_be_planned_is_left_out_with_the_reason(thing, staff, code):
    plan = greedy_plan(an_instance(thing, **staff))
    assert plan["levels"] == {} and plan["steps"] == []
    assert [(left["object"], left["code"]) for left in plan["left_out"]] == [("jar", code)]
    assert plan["left_out"][0]["reason"]


def test_one_that_loses_to_a_better_is_told_so():
    low, high = (an_object(n, a_step(q=24), benefit=b, close_by=DAY) for n, b in (("low", 1), ("high", 2)))
    plan = greedy_plan(an_instance(low, high))
    assert plan["levels"] == {"high": 0}
    assert plan["left_out"][0] | {"reason": ""} == {"object": "low", "code": "no_room", "reason": ""}


@pytest.mark.parametrize(
    "instance", [{}, {"weeks": 2, "staff": [], "objects": []}, an_instance(), {"staff": [], "objects": [an_object()]}]
)
def test_nothing_to_do_or_nobody_to_do_it_is_an_empty_plan(instance):
    plan = greedy_plan(instance)
    assert plan["levels"] == {} and plan["steps"] == []
    assert len(plan["left_out"]) == len(instance.get("objects", []))


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"weeks": 0}, "weeks"),
        ({"weeks": "soon"}, "weeks"),
        ({"hoods": -1}, "hoods"),
        ({"benches": 0.5}, "benches"),
        ({"objects": "none"}, "objects"),
        ({"objects": [3]}, "objects"),
        ({"objects": [{}]}, "id"),
        ({"objects": [an_object(), an_object()]}, "id"),
        ({"staff": [{"id": "ann", "shifts": [[5, 5]]}]}, "shifts"),
        ({"staff": [{"id": "ann", "shifts": [[5]]}]}, "shifts"),
        ({"objects": [an_object("jar", a_step(q=0))]}, "q of"),
        ({"objects": [an_object("jar", a_step(q=float("nan")))]}, "q of"),
        ({"objects": [an_object("jar", a_step(cure=-1))]}, "cure"),
        ({"objects": [an_object("jar", a_step(preds=["gone"]))]}, "preds"),
        ({"objects": [an_object("jar", a_step("a", preds=["b"]), a_step("b", preds=["a"]))]}, "circle"),
        ({"objects": [an_object("jar", a_step("a"), a_step("a"))]}, "two steps"),
        ({"objects": [an_object("jar", a_step(resource="oven"))]}, "resource"),
        ({"objects": [an_object(release="now")]}, "release"),
        ({"objects": [an_object(benefit=-1)]}, "benefit"),
    ],
)
def test_an_instance_that_makes_no_sense_is_refused_by_name(change, named):
    with pytest.raises(ValueError, match=named):
        greedy_plan(an_instance() | change)
