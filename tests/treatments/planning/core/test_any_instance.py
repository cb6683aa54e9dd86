"""Whatever the instance: a valid plan, never above its bound, that can be adapted and forecast."""

import random

import pytest

from tests.reference.plan_checker import check
from treatments.forecast.simulate import simulate_instance
from treatments.planning.replan import replan_instance
from treatments.planning.solve import solve_instance

SKILLS = ["a", "b", "c"]


def any_shifts(draw, weeks):
    shifts, last = [], 0
    for day in range(weeks * 7):
        start = day * 96 + draw.randint(0, 90)
        if draw.random() < 0.5 and start >= last:
            last = start + draw.choice([1, 4, 20, 30, 70, 100])
            shifts.append([start, last])
    return shifts


def any_step(draw, number):
    return {
        "id": f"s{number}",
        "kind": draw.choice(["x", "photo", "mount"]),
        "skill": "nobody's" if draw.random() < 0.02 else draw.choice(SKILLS),
        "resource": draw.choice([None, None, "hood", "bench"]),
        "q": draw.choice([16, 40, 64, 65]) if draw.random() < 0.1 else draw.randint(1, 8),
        "cure": draw.choice([0, 0, 10, 100]),
        "preds": [f"s{n}" for n in range(number) if draw.random() < 0.5],
    }


def any_instance(seed):
    draw = random.Random(seed)
    weeks = draw.choice([1, 2, 3, 9])
    staff = [
        {"id": f"p{n}", "skills": draw.sample(SKILLS, draw.randint(0, 3)), "shifts": any_shifts(draw, weeks)}
        for n in range(draw.randint(0, 4))
    ]
    objects = []
    for n in range(draw.randint(0, 25)):
        close = draw.randint(-50, weeks * 672 + 300)
        levels = [
            {"benefit": draw.randint(0, 100), "steps": [any_step(draw, m) for m in range(draw.randint(0, 5))]}
            for _ in range(draw.randint(0, 3))
        ]
        objects.append(
            {
                "id": f"o{n}",
                "mandatory": draw.random() < 0.2,
                "release": draw.randint(-100, weeks * 400),
                "photo_by": close - draw.randint(0, 100),
                "mount_by": close,
                "close_by": close,
                "levels": levels,
            }
        )
    return {
        "weeks": weeks,
        "staff": staff,
        "hoods": draw.randint(0, 2),
        "benches": draw.randint(0, 2),
        "objects": objects,
    }


@pytest.mark.parametrize("seed", range(40))
def test_a_valid_plan_below_its_bound(seed):
    instance = any_instance(seed)
    plan = solve_instance(instance, seconds=0.53, seed=seed)
    assert check(instance, plan)[0] == []
    assert plan["benefit"] <= plan["bound"] + 1e-6
    assert len(plan["levels"]) + len(plan["left_out"]) == len(instance["objects"])
    again = replan_instance(instance, plan)
    assert check(instance, again)[0] == [] and again["benefit"] <= again["bound"] + 1e-6
    assert 0 <= simulate_instance(instance, plan, trials=20)["ready_all"] <= 1
