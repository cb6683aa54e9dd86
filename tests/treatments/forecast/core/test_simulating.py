"""People take the next ready step; what comes out is a distribution that can be checked by hand or in closed form."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from tests.reference.plan_instances import make
from treatments.forecast.dispatch import duty_at
from treatments.forecast.noise import Noise, lognormal_cells
from treatments.forecast.roster import Roster
from treatments.forecast.simulate import simulate, simulate_instance
from treatments.planning.greedy import greedy_plan

DAY, WEEK, NINE = 96, 672, 36
CERTAIN = Noise(sigma=0.0)


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


def an_object(name, *steps, close_by=10 * DAY, mandatory=False, release=0, photo_by=None):
    return {
        "id": name,
        "case": "case 1",
        "mandatory": mandatory,
        "release": release,
        "photo_by": close_by if photo_by is None else photo_by,
        "mount_by": close_by,
        "close_by": close_by,
        "levels": [{"name": "secure", "benefit": 10, "steps": list(steps)}],
    }


def five_days(skills=("exam",), name="ann", quarters=28, weeks=2):
    days = [d for d in range(7 * weeks) if d % 7 < 5]
    return {"id": name, "skills": list(skills), "shifts": [[d * DAY + NINE, d * DAY + NINE + quarters] for d in days]}


def an_instance(*objects, staff=None, hoods=1, benches=1):
    return {"weeks": 2, "staff": staff or [five_days()], "hoods": hoods, "benches": benches, "objects": list(objects)}


def a_plan(*steps):
    return {"levels": {thing: 0 for thing, *_ in steps}, "steps": [list(s) for s in steps]}


def ready(instance, plan, **options):
    forecast = simulate(instance, plan, trials=1, noise=CERTAIN, **options)
    return dict(zip(forecast.object_ids, forecast.ready[0].tolist(), strict=True))


def test_a_step_that_does_not_fit_into_the_shift_is_gone_on_with_the_next_day():
    instance = an_instance(an_object("jar", a_step(q=30)))
    assert ready(instance, a_plan(("jar", "exam", "ann", NINE))) == {"jar": DAY + NINE + 2}


def test_a_cure_runs_over_night_while_the_person_takes_the_next_object():
    jar = an_object("jar", a_step("join", 8, cure=40), a_step("fill", 8, preds=["join"]))
    bowl = an_object("bowl", a_step(q=4))
    plan = a_plan(
        ("jar", "join", "ann", NINE), ("jar", "fill", "ann", DAY + NINE), ("bowl", "exam", "ann", 2 * DAY + NINE)
    )
    staff = [five_days(["exam"])]
    assert ready(an_instance(jar, bowl, staff=staff), plan) == {"jar": DAY + NINE + 8, "bowl": NINE + 12}


def test_one_hood_serves_one_person_at_a_time_and_the_other_does_something_else():
    jar, bowl = (an_object(n, a_step(q=8, resource="hood")) for n in ("jar", "bowl"))
    cup = an_object("cup", a_step(q=4))
    plan = a_plan(("jar", "exam", "ann", NINE), ("bowl", "exam", "ben", NINE), ("cup", "exam", "ben", NINE + 8))
    instance = an_instance(jar, bowl, cup, staff=[five_days(), five_days(name="ben")])
    assert ready(instance, plan) == {"jar": NINE + 8, "bowl": NINE + 16, "cup": NINE + 4}


def test_after_the_last_planned_week_everyone_goes_on_with_the_usual_week():
    jar = an_object("jar", a_step(q=28 * 11))
    assert ready(an_instance(jar), a_plan(("jar", "exam", "ann", NINE))) == {"jar": 14 * DAY + NINE + 28}


def test_with_a_look_ahead_of_one_a_person_waits_for_the_first_of_the_list():
    jar = an_object("jar", a_step(q=4), release=DAY)
    bowl = an_object("bowl", a_step(q=4))
    plan = a_plan(("jar", "exam", "ann", NINE), ("bowl", "exam", "ann", NINE + 4))
    assert ready(an_instance(jar, bowl), plan, look_ahead=2)["bowl"] == NINE + 4
    assert ready(an_instance(jar, bowl), plan, look_ahead=1)["bowl"] == DAY + NINE + 8


def test_two_who_wait_for_each_other_beyond_their_look_ahead_still_get_on():
    jar = an_object("jar", a_step("a"), a_step("b", preds=["a"]))
    bowl = an_object("bowl", a_step("a"), a_step("b", preds=["a"]))
    plan = a_plan(("jar", "b", "ann", 1), ("bowl", "a", "ann", 2), ("bowl", "b", "ben", 1), ("jar", "a", "ben", 2))
    instance = an_instance(jar, bowl, staff=[five_days(), five_days(name="ben")])
    assert ready(instance, plan, look_ahead=1) == {"jar": NINE + 8, "bowl": NINE + 8}


def test_a_mandatory_object_jumps_ahead_when_protected():
    jar, bowl = an_object("jar", a_step(q=8)), an_object("bowl", a_step(q=8), mandatory=True)
    plan = a_plan(("jar", "exam", "ann", NINE), ("bowl", "exam", "ann", NINE + 8))
    assert ready(an_instance(jar, bowl), plan, protect_weeks=1) == {"jar": NINE + 16, "bowl": NINE + 8}
    assert ready(an_instance(jar, bowl), plan, protect_weeks=0) == {"jar": NINE + 8, "bowl": NINE + 16}


def test_a_plan_may_be_a_list_of_priorities_without_people_or_times():
    jar, bowl = an_object("jar", a_step(q=8)), an_object("bowl", a_step(q=8))
    instance = an_instance(jar, bowl)
    assert ready(instance, a_plan(("bowl", "exam", None, None), ("jar", "exam", None, None))) == {
        "jar": NINE + 16,
        "bowl": NINE + 8,
    }
    assert ready(instance, {"levels": {"jar": 0, "bowl": 0}, "steps": []}) == {"jar": NINE + 8, "bowl": NINE + 16}


def test_work_that_nobody_can_do_is_never_ready():
    instance = an_instance(an_object("jar", a_step(skill="retouch"), mandatory=True))
    found = simulate_instance(instance, {"levels": {"jar": 0}, "steps": []}, trials=10)
    assert (found["ready_all"], found["ready_mandatory"], found["late_mean"]) == (0, 0, 1)
    assert found["finish_weeks"]["p50"] is None


def test_a_mandatory_object_without_a_plan_is_not_ready():
    instance = an_instance(an_object("jar", a_step(), mandatory=True), an_object("bowl", a_step()))
    found = simulate_instance(instance, a_plan(("bowl", "exam", "ann", NINE)), trials=10)
    assert (found["ready_all"], found["ready_mandatory"], found["late_mean"]) == (0, 0, 0)


def test_nothing_planned_is_ready_at_once():
    found = simulate_instance(an_instance(), {"levels": {}, "steps": []}, trials=3)
    assert (found["ready_all"], found["ready_mandatory"], found["late_mean"]) == (1, 1, 0)
    assert found["finish_weeks"]["p50"] == 0


@pytest.mark.parametrize("shared", [0.0, 0.5, 1.0])
def test_the_chance_to_be_late_is_the_tail_of_the_log_normal(shared):
    # One step of 8 quarters, due within 12: late if its factor exceeds 1.5. Log-normal distribution function.
    noise = Noise(sigma=0.45, shared=shared)
    instance = an_instance(an_object("jar", a_step(q=8), close_by=NINE + 12))
    found = simulate(instance, a_plan(("jar", "exam", "ann", NINE)), trials=100_000, noise=noise)
    expected = 1 - NormalDist(-(0.45**2) / 2, 0.45).cdf(math.log(1.5))
    assert found.late_mean == pytest.approx(expected, abs=4 * math.sqrt(expected * (1 - expected) / 100_000))


def test_a_team_that_takes_longer_than_estimated_does_so_for_all_objects_together():
    # Two objects by two people with a common factor only: both late or neither.
    noise = Noise(sigma=0.0, team_median=1.2, team_sigma=0.3)
    objects = [an_object(n, a_step(q=8), close_by=NINE + 12) for n in ("jar", "bowl")]
    plan = a_plan(("jar", "exam", "ann", NINE), ("bowl", "exam", "ben", NINE))
    found = simulate(
        an_instance(*objects, staff=[five_days(), five_days(name="ben")]), plan, trials=50_000, noise=noise
    )
    expected = 1 - NormalDist(math.log(1.2), 0.3).cdf(math.log(1.5))
    assert 1 - found.ready_all == pytest.approx(expected, abs=4 * math.sqrt(expected * (1 - expected) / 50_000))
    assert found.late_mean == pytest.approx(2 * (1 - found.ready_all), abs=1e-12)


@pytest.mark.parametrize("sigma", [0.0, 0.2, 0.45, 1.0])
def test_the_cells_of_a_log_normal_keep_its_moments_and_quantiles(sigma):
    cells = lognormal_cells(sigma)
    assert cells.mean() == pytest.approx(1, abs=1e-12)
    assert cells.var() == pytest.approx(math.exp(sigma**2) - 1, rel=2e-2, abs=1e-12)
    assert np.median(cells) == pytest.approx(math.exp(-(sigma**2) / 2), rel=1e-3)


def test_the_same_seed_gives_the_same_trials_on_any_number_of_threads():
    instance = make(60, 3)
    plan = greedy_plan(instance)
    one, three = (simulate(instance, plan, trials=600, seed=5, threads=n) for n in (1, 3))
    assert np.array_equal(one.ready, three.ready) and np.array_equal(one.cause, three.cause)
    assert not np.array_equal(one.ready, simulate(instance, plan, trials=600, seed=6).ready)


def test_the_same_object_takes_the_same_hours_in_two_plans():
    jar, bowl = an_object("jar", a_step(q=8)), an_object("bowl", a_step(q=8))
    both = a_plan(("bowl", "exam", "ann", NINE), ("jar", "exam", "ann", NINE + 8))
    instance = an_instance(jar, bowl, staff=[five_days(quarters=60)])
    first = simulate(instance, a_plan(("jar", "exam", "ann", NINE)), trials=50).ready[:, 0] - NINE
    second = simulate(instance, both, trials=50)
    assert np.allclose(second.ready[:, 0] - second.ready[:, 1], first, atol=1e-3)


def test_causes_milestones_and_load_add_up():
    instance = make(120, 4)
    found = simulate(instance, greedy_plan(instance), trials=400)
    assert np.allclose(found.causes_of_lateness().sum(axis=1), found.late_chance)
    assert {m.kind for m in found.milestones()} == {"photo", "mount", "close"}
    assert min(m.ready for m in found.milestones()) >= found.ready_all
    assert sum(m.objects for m in found.milestones()) == 3 * len(found.object_ids)
    assert sum(p.mean_hours for p in found.load) == pytest.approx(sum(p.planned_hours for p in found.load), rel=0.02)


def test_who_waits_for_one_busy_person_is_late_because_of_that_person():
    jar = an_object("jar", a_step(q=20), close_by=5 * DAY)
    bowl = an_object("bowl", a_step(q=4), close_by=NINE + 26)
    plan = a_plan(("jar", "exam", "ann", NINE), ("bowl", "exam", "ann", NINE + 20))
    found = simulate(an_instance(jar, bowl), plan, trials=2_000)
    causes = dict(zip(found.causes, found.causes_of_lateness()[found.object_ids.index("bowl")], strict=True))
    assert max(causes, key=lambda cause: causes[cause]) == "ann"


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"trials": 0}, "trials"),
        ({"trials": 10**9}, "trials"),
        ({"trials": 5, "seed": -1}, "seed"),
        ({"trials": 5, "look_ahead": 0}, "look_ahead"),
        ({"trials": 5, "protect_weeks": -1}, "protect_weeks"),
        ({"trials": 5, "threads": -2}, "threads"),
    ],
)
def test_an_option_out_of_range_is_refused_by_name(options, named):
    with pytest.raises(ValueError, match=named):
        simulate(an_instance(), {"levels": {}, "steps": []}, **options)


@pytest.mark.parametrize(
    "plan",
    [
        {"levels": {"gone": 0}},
        {"levels": {"jar": 1}},
        {"levels": {"jar": 0}, "steps": [["jar", "gone", "ann", 3]]},
        {"levels": {"jar": 0}, "steps": [["jar", "exam", "zoe", 3]]},
        {"levels": {"jar": 0}, "steps": ["jar"]},
        {"levels": {}, "steps": [["jar", "exam", "ann", 3]]},
    ],
)
def test_a_plan_of_something_else_is_refused(plan):
    with pytest.raises(ValueError, match="plan"):
        simulate(an_instance(an_object("jar", a_step())), plan, trials=2)


@pytest.mark.parametrize("wrong", [{"sigma": -1}, {"shared": 1.5}, {"team_median": 0}, {"team_sigma": float("nan")}])
def test_noise_out_of_range_is_refused_by_name(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Noise(**wrong)


@pytest.mark.parametrize(
    ("shift", "time", "duty"),
    [
        (0, 35.0, 0.0),
        (0, 46.0, 10.0),
        (1, 60.0, 20.0),
        (2, 20.0, 0.0),
        (2, 46.0, 10.0),
        (2, 140.0, 28.0),
        (2, 230.0, 42.0),
    ],
)
def test_time_on_duty_is_counted_from_any_shift_before(shift, time, duty):
    # Three days of 20 quarters from 36; what became ready on the first and is seen on the third has waited since then.
    start = 36.0 + 96.0 * np.arange(3)
    roster = Roster(np.array([0, 3, 3]), start, start + 20.0, 20.0 * np.arange(4))
    assert duty_at(roster, shift, 0, time) == duty


def test_progress_is_told_and_can_end_the_simulation():
    instance = make(40, 3)
    told: list[int] = []
    simulate(instance, greedy_plan(instance), trials=600, progress=told.append)
    assert told == [250, 500, 600]

    def cancel(done):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        simulate(instance, greedy_plan(instance), trials=600, progress=cancel)
