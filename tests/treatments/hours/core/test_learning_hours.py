"""Learning hours from records: none, one, ten, a thousand; clocks left running; checked on unseen jobs."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import stats

from treatments.hours.pooling import EXPERT_PRIOR, NormalInverseGamma, Records, fit_population, james_stein, learn
from treatments.hours.scores import crps_student_t, pinball


def records(rng, *, each, kinds=15, spread=0.45, draw=None):
    """Hours of steps of several kinds, whose medians scatter about e^0.3, as invented logs."""
    counts = np.broadcast_to(each, kinds)
    kind = np.repeat(np.arange(kinds), counts)
    middle = rng.normal(0.3, 0.4, kinds)
    error = rng.standard_normal(kind.size) if draw is None else draw(kind.size)
    return np.exp(middle[kind] + spread * error), kind, middle


def test_no_records_give_the_prior():
    learned = learn([], [])
    assert learned.population == EXPERT_PRIOR
    assert learned.forecast("join") == EXPERT_PRIOR.predictive()
    assert learned.own_weight("join") == 0


def test_one_record_moves_the_forecast_a_little_and_stays_wide():
    before = EXPERT_PRIOR.predictive()
    after = learn([4.0], ["join"]).forecast("join")
    assert before.quantile(0.5) < after.quantile(0.5) < 4.0
    assert after.quantile(0.9) / after.quantile(0.1) > 3


def test_ten_records_of_one_kind_weigh_more_than_the_others():
    hours = np.concatenate([np.full(10, 6.0) * np.exp(np.linspace(-0.4, 0.4, 10)), np.full(40, 1.0)])
    kinds = ["retouch"] * 10 + ["test"] * 20 + ["join"] * 20
    learned = learn(hours, kinds)
    assert 4 < learned.forecast("retouch").quantile(0.5) < 6
    assert learned.own_weight("retouch") > 0.5
    assert learned.records == {"retouch": 10, "test": 20, "join": 20}


def test_a_thousand_records_speak_for_themselves():
    hours = np.exp(np.random.default_rng(1).normal(1.0, 0.5, 1_000))
    ahead = learn(hours, ["join"] * 1_000).forecast("join")
    assert ahead.quantile([0.1, 0.5, 0.9]) == pytest.approx(np.quantile(hours, [0.1, 0.5, 0.9]), rel=0.05)


def test_more_records_narrow_the_forecast():
    widths = []
    for n in (1, 10, 100, 1_000):
        hours = np.exp(stats.norm.ppf((np.arange(n) + 0.5) / n) * 0.4)
        ahead = learn(hours, ["fill"] * n).forecast("fill")
        widths.append(float(ahead.quantile(0.95) / ahead.quantile(0.05)))
    assert widths == sorted(widths, reverse=True)


def test_an_unseen_kind_is_forecast_by_the_others():
    hours, kind, _ = records(np.random.default_rng(2), each=30)
    learned = learn(hours, kind)
    new = learned.forecast("something new")
    assert float(new.quantile(0.5)) == pytest.approx(math.exp(0.3), rel=0.25)
    assert new.quantile(0.9) / new.quantile(0.1) > learned.forecast("0").quantile(0.9) / learned.forecast("0").quantile(
        0.1
    )


def test_ratios_let_large_objects_teach_small_ones():
    estimates = np.array([1.0, 2.0, 4.0, 8.0] * 10)
    learned = learn(1.5 * estimates, ["join"] * 40, estimates=estimates)
    assert learned.forecast("join", 20.0).quantile(0.5) == pytest.approx(30, rel=0.05)
    assert learned.forecast("join", 0.5).quantile(0.5) == pytest.approx(0.75, rel=0.05)


def test_clocks_left_running_hardly_move_the_forecast():
    """Fourteen hours for a job of half an hour or so, now and then: the middle stays, the tail grows heavy."""
    rng = np.random.default_rng(5)
    clean = np.exp(rng.normal(math.log(0.5), 0.3, 200))
    spoilt = np.where(np.arange(200) % 20 == 0, 14.0, clean)
    straight, robust = learn(clean, ["test"] * 200), learn(spoilt, ["test"] * 200)
    assert straight.tail_df == math.inf
    assert robust.tail_df <= 6
    for p in (0.1, 0.5, 0.9):
        assert robust.forecast("test").quantile(p) == pytest.approx(straight.forecast("test").quantile(p), rel=0.2)
    assert robust.forecast("test").quantile(0.999) > 2 * straight.forecast("test").quantile(0.999)


def test_the_order_of_records_does_not_matter_and_the_same_records_give_the_same():
    hours, kind, _ = records(np.random.default_rng(9), each=[0, 1, 2, 5, 20], kinds=5)
    turned = learn(hours[::-1], kind[::-1])
    for code in map(str, range(5)):
        assert turned.forecast(code) == pytest.approx(learn(hours, kind).forecast(code), rel=1e-5)
    assert learn(hours, kind) == learn(hours, kind)


def test_identical_hours_do_not_make_a_certain_forecast():
    """Thirty times "2 hours" in the log is how people write, not how long it took."""
    ahead = learn([2.0] * 30, ["photograph"] * 30).forecast("photograph")
    assert ahead.quantile(0.5) == pytest.approx(2, rel=0.02)
    assert 1.15 < ahead.quantile(0.9) / ahead.quantile(0.1) < 1.5


@pytest.mark.parametrize(
    ("each", "draw"),
    [(3, "normal"), (30, "normal"), (30, "wild"), (100, "running clocks")],
)
def test_forecasts_of_unseen_jobs_are_honest_and_sharper_than_the_median_of_each_kind(each, draw):
    """On invented logs: four in five unseen jobs fall within the 80 % interval; the score beats the median by 15 %.

    CRPS on the logarithm of hours, where a median alone scores its absolute error; and in hours by quantiles.
    """
    rng = np.random.default_rng(11)
    draws: dict[str, Callable[[int], Any]] = {
        "normal": rng.standard_normal,
        "wild": lambda n: 0.8 * rng.standard_t(4, n),
        "running clocks": lambda n: rng.standard_normal(n) + 3.5 * (rng.random(n) < 0.05),
    }
    inside, ours, theirs, ours_hours, theirs_hours = [], [], [], [], []
    for _ in range(25):
        hours, kind, middle = records(rng, each=each, draw=draws[draw])
        learned = learn(hours, kind)
        ahead = np.array([learned.forecast(str(k)) for k in range(15)]).repeat(50, 0).T
        unseen = middle.repeat(50) + 0.45 * draws[draw](750)
        medians = np.array([np.median(np.log(hours[kind == k])) for k in range(15)]).repeat(50)
        inside.append(np.abs((unseen - ahead[1]) / ahead[2]) <= stats.t.ppf(0.9, ahead[0]))
        ours.append(crps_student_t(unseen, *ahead))
        theirs.append(np.abs(unseen - medians))
        levels = np.arange(0.05, 1, 0.1)[:, None]
        quantiles = np.exp(ahead[1] + ahead[2] * stats.t.ppf(levels, ahead[0]))
        ours_hours.append(2 * pinball(np.exp(unseen), quantiles, levels).mean(0))
        theirs_hours.append(np.abs(np.exp(unseen) - np.exp(medians)))
    assert 0.77 <= np.mean(inside) <= 0.83
    assert np.mean(ours) <= 0.85 * np.mean(theirs)
    assert np.mean(ours_hours) <= 0.85 * np.mean(theirs_hours)


def test_pooling_beats_each_kind_for_itself_when_records_are_few():
    rng = np.random.default_rng(12)
    pooled, alone = [], []
    for _ in range(30):
        hours, kind, middle = records(rng, each=3)
        learned = learn(hours, kind)
        guess = np.array([learned.forecast(str(k)).location for k in range(15)])
        own = np.array([np.log(hours[kind == k]).mean() for k in range(15)])
        pooled.append(((guess - middle) ** 2).mean())
        alone.append(((own - middle) ** 2).mean())
    assert np.mean(pooled) < 0.85 * np.mean(alone)


def test_a_population_fitted_to_many_kinds_is_the_one_they_came_from():
    rng = np.random.default_rng(21)
    kinds, each, truth = 400, 30, NormalInverseGamma(0.4, 1.5, 6.0, 1.2)
    variance = 1 / rng.gamma(truth.alpha, 1 / truth.beta, kinds)
    mean = rng.normal(truth.m, np.sqrt(variance / truth.kappa))
    y = rng.normal(np.repeat(mean, each), np.repeat(np.sqrt(variance), each))
    fitted = fit_population(Records.of(y, np.repeat(np.arange(kinds), each), kinds))
    assert fitted.m == pytest.approx(truth.m, abs=0.06)
    assert fitted.kappa == pytest.approx(truth.kappa, rel=0.25)
    assert fitted.alpha == pytest.approx(truth.alpha, rel=0.25)
    assert fitted.beta / fitted.alpha == pytest.approx(truth.beta / truth.alpha, rel=0.1)


def test_a_mean_of_hours_needs_a_bound():
    ahead = EXPERT_PRIOR.predictive()
    assert ahead.mean_below(10) < ahead.mean_below(100)
    drawn = ahead.sample(np.random.default_rng(1), 400_000, most=10)
    assert drawn.max() == 10
    assert ahead.mean_below(10) == pytest.approx(drawn.mean(), rel=0.01)
    assert np.quantile(drawn, 0.5) == pytest.approx(float(ahead.quantile(0.5)), rel=0.01)
    assert ahead.cdf(ahead.quantile(0.3)) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: learn([1, 0], ["a", "a"]), "hours must be above zero"),
        (lambda: learn([1, math.inf], ["a", "a"]), "hours must be one-dimensional and finite"),
        (lambda: learn([1, 2], ["a"]), "kinds must be as many"),
        (lambda: learn([1, 2], ["a", "a"], estimates=[1]), "estimates must be as many"),
        (lambda: learn([1], ["a"], estimates=[0]), "estimates must be above zero"),
        (lambda: learn([1], ["a"], prior=NormalInverseGamma(0, 0, 1, 1)), "prior must be finite"),
        (lambda: learn([], [], prior=NormalInverseGamma(math.nan, 1, 1, 1)), "prior must be finite"),
        (lambda: EXPERT_PRIOR.updated([math.nan]), "y must be"),
        (lambda: EXPERT_PRIOR.predictive().mean_below(math.inf), "most must be"),
        (lambda: EXPERT_PRIOR.predictive().times(0), "factor must be"),
        (lambda: james_stein([1, 2, 3], 1), "at least four"),
        (lambda: james_stein([1, 2, 3, 4], 0), "variance must be"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_means_that_differ_by_chance_alone_all_become_one():
    pulled, kept = james_stein([1.0, 1.1, 0.9, 1.0, 1.05], 1.0)
    assert kept == 0
    assert pulled == pytest.approx(np.full(5, 1.01))
    assert james_stein([2.0] * 5, 1.0)[1] == 0
