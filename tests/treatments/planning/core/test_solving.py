"""The plan: valid, better than the first schedule, never above its bound, the same for the same seed."""

import json
import subprocess
import sys
from itertools import product
from pathlib import Path

import pytest

from media.compiled import compiled
from tests.reference.plan_checker import check
from tests.reference.plan_instances import make
from tests.treatments.planning.core.test_first_schedule import DAY, NINE, a_step, an_instance, an_object
from treatments.planning import solve
from treatments.planning.bound import upper_bound
from treatments.planning.greedy import greedy_plan
from treatments.planning.problem import read_instance
from treatments.planning.solve import solve_instance

ROOT = Path(__file__).parents[4]


@pytest.mark.parametrize(("objects", "seed", "team"), [(80, 11, 1), (150, 12, 2)])
def test_the_independent_checker_finds_no_error_and_the_search_gains(objects, seed, team):
    instance = make(objects, seed, 14, team)
    plan = solve_instance(instance, seconds=1.5)
    errors, benefit, done, mandatory = check(instance, plan)
    assert errors == []
    assert done == mandatory
    assert benefit == plan["benefit"] >= check(instance, greedy_plan(instance))[1]
    assert plan["share"] == pytest.approx(benefit / plan["bound"]) and 0.85 < plan["share"] <= 1


def test_the_same_seed_gives_the_same_plan(monkeypatch):
    """On a machine so busy that the clock ends a search, plans may differ: here the clock has all the time."""
    monkeypatch.setattr(solve, "PATIENCE", 100.0)
    instance = make(60, 21)
    first, second = (solve_instance(instance, seconds=0.8, seed=4) for _ in range(2))
    assert not first["cut_short"]
    assert (first["levels"], first["steps"]) == (second["levels"], second["steps"])


def test_two_objects_with_levels_against_all_choices_written_out():
    # One person, 8 h: best of all pairs of levels that fit is 3 h + 5 h.
    jar = an_object("jar", a_step(q=12), close_by=DAY, benefit=30)
    jar["levels"].append({"name": "full", "benefit": 50, "steps": [a_step(q=24)]})
    bowl = an_object("bowl", a_step(q=8), close_by=DAY, benefit=25)
    bowl["levels"].append({"name": "full", "benefit": 44, "steps": [a_step(q=20)]})
    instance = an_instance(jar, bowl, shifts=[[NINE, NINE + 32]])
    hours = {0: (0, 0), 1: (12, 30), 2: (24, 50)}, {0: (0, 0), 1: (8, 25), 2: (20, 44)}
    best = max(a[1] + b[1] for a, b in product(hours[0].values(), hours[1].values()) if a[0] + b[0] <= 32)
    plan = solve_instance(instance, seconds=0.7)
    assert plan["benefit"] == best == 75
    assert plan["bound"] >= best


def test_the_bound_of_one_scarce_day_is_its_linear_optimum():
    # 28 quarters; three objects of 12 quarters worth 60, 48 and 36: fractional optimum 60 + 48 + 4 / 12 * 36 = 120.
    things = [an_object(n, a_step(q=12), close_by=DAY, benefit=b) for n, b in (("a", 60), ("b", 48), ("c", 36))]
    instance = an_instance(*things, shifts=[[NINE, NINE + 28]])
    bound = upper_bound(read_instance(instance), 400)
    assert bound.value == pytest.approx(120, rel=0.01) and bound.value >= 120 - 1e-6


def test_the_bound_sees_that_work_cannot_begin_before_what_it_waits_for():
    # The retoucher is there on the first day only, but the fill needs a night to cure: retouching is impossible.
    vase = an_object(
        "vase", a_step("fill", 4, skill="fill", cure=40), a_step("retouch", 4, skill="retouch", preds=["fill"])
    )
    instance = an_instance(vase)
    day = [NINE, NINE + 28]
    instance["staff"] = [
        {"id": "ann", "skills": ["fill"], "shifts": [day]},
        {"id": "ben", "skills": ["retouch"], "shifts": [day]},
    ]
    assert upper_bound(read_instance(instance), 20).value == pytest.approx(0, abs=1e-6)
    plan = solve_instance(instance, seconds=0.1)
    assert (plan["bound"], plan["share"]) == (pytest.approx(0, abs=1e-6), 1)
    assert plan["left_out"][0]["code"] == "no_time"


def test_no_plan_exceeds_the_bound_also_where_mandatory_objects_do_not_fit():
    must = [an_object(n, a_step(q=20), close_by=DAY, benefit=1, mandatory=True) for n in ("a", "b")]
    fine = an_object("c", a_step(q=8), close_by=DAY, benefit=500)
    plan = solve_instance(an_instance(*must, fine), seconds=0.6)
    assert len(plan["levels"]) == 2 and plan["benefit"] <= plan["bound"]


@pytest.mark.parametrize(
    "instance",
    [
        {},
        an_instance(),
        {"staff": [], "objects": [an_object()]},
        an_instance(an_object(), shifts=[]),
        an_instance(an_object(close_by=-5)),
        an_instance(an_object("jar", a_step(skill="retouch"))),
        an_instance({"id": "jar", "levels": []}),
        an_instance(an_object("jar", a_step(q=40_000), mandatory=True)),
        an_instance({"id": "jar", "levels": [{"benefit": 3, "steps": []}]}),
    ],
)
def test_the_odd_instance_gives_a_plan_not_an_exception(instance):
    plan = solve_instance(instance, seconds=0.6)
    assert 0 <= plan["share"] <= 1
    assert len(plan["left_out"]) + len(plan["levels"]) == len(instance.get("objects", []))


def test_one_object_of_ten_thousand_hours():
    sittings = [a_step(f"join{n}", 16, preds=[f"join{n - 1}"] if n else []) for n in range(2_500)]
    plan = solve_instance(an_instance(an_object("jar", *sittings), an_object("bowl")), seconds=0.6)
    assert plan["levels"] == {"bowl": 0}
    assert [left["code"] for left in plan["left_out"]] == ["no_time"]


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"seconds": 0}, "seconds"),
        ({"seconds": float("nan")}, "seconds"),
        ({"seconds": "1"}, "seconds"),
        ({"seconds": 1e9}, "seconds"),
        ({"seconds": 1, "seed": -1}, "seed"),
        ({"seconds": 1, "seed": 1.5}, "seed"),
    ],
)
def test_an_option_out_of_range_is_refused_by_name(options, named):
    with pytest.raises(ValueError, match=named):
        solve_instance(an_instance(), **options)


def test_progress_is_told_and_can_end_the_search():
    told = []
    solve_instance(make(40, 3), seconds=1, progress=lambda *now: told.append(now))
    assert told[-1][0] == 1 and all(benefit <= bound for _, benefit, bound in told)

    def cancel(*now):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        solve_instance(make(40, 3), seconds=1, progress=cancel)


def test_a_kernel_that_can_be_cached_nowhere_is_compiled_all_the_same(tmp_path):
    # A function whose source is not a file has no folder to cache in, like a read-only tree without a home.
    def double(x):
        return 2 * x

    double.__code__ = double.__code__.replace(co_filename=str(tmp_path / "gone" / "kernel.py"))
    assert compiled(double)(21) == 42


def test_a_read_only_tree_plans_too(tmp_path):
    # Neither the source tree nor a cache folder can be written: a file stands where the folders would be.
    for package in ("planning", "forecast"):
        folder = tmp_path / "treatments" / package
        folder.mkdir(parents=True)
        for source in (ROOT / "treatments" / package).glob("*.py"):
            (folder / source.name).write_bytes(source.read_bytes())
        (folder / "__pycache__").write_text("")
    (tmp_path / "treatments" / "__init__.py").write_text("")
    (tmp_path / "media").mkdir()
    (tmp_path / "media/compiled.py").write_bytes((ROOT / "media/compiled.py").read_bytes())
    (tmp_path / "no-cache").write_text("")
    code = (
        "import json; from treatments.planning.greedy import greedy_plan; "
        "print(json.dumps(greedy_plan(json.loads(input()))))"
    )
    done = subprocess.run(
        [sys.executable, "-B", "-c", code],
        input=json.dumps(an_instance(an_object())),
        text=True,
        capture_output=True,
        cwd=tmp_path,
        timeout=120,
        check=False,
        env={"HOME": str(tmp_path / "no-cache"), "XDG_CACHE_HOME": str(tmp_path / "no-cache"), "PATH": "/usr/bin:/bin"},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert json.loads(done.stdout)["levels"] == {"jar": 0}
