"""Crossed effects on hours against published mixed-model fits, closed forms and a reference library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from treatments.hours.crossed import Pull, coverage, fit_crossed, leave_out, ranks_of_sums

# Yields of dyestuff from six batches, five preparations each: Davies & Goldsmith 1972, Statistical Methods in Research
# and Production, 4th ed., section 6.4; the data and fits of Bates 2010, lme4: Mixed-effects modeling with R, chapter 1
# (data and fitted values from memory; the closed form below checks both).
YIELDS = {
    "A": (1545, 1440, 1440, 1520, 1580), "B": (1540, 1555, 1490, 1560, 1495), "C": (1595, 1550, 1605, 1510, 1560),
    "D": (1445, 1440, 1595, 1465, 1545), "E": (1595, 1630, 1515, 1635, 1625), "F": (1520, 1455, 1450, 1480, 1445),
}  # fmt: skip
BATCHES = [batch for batch, yields in YIELDS.items() for _ in yields]
Y = [float(one) for yields in YIELDS.values() for one in yields]


@pytest.fixture(scope="module")
def dyestuff():
    return fit_crossed(Y, {"batch": BATCHES})


def test_spreads_mean_and_criterion_as_published(dyestuff):
    # Published: standard deviations 42.00 and 49.51, intercept 1527.5 with standard error 19.38, REML 319.6543.
    assert dyestuff.spreads["batch"] == pytest.approx(42.00, abs=0.005)
    assert dyestuff.spreads["residual"] == pytest.approx(49.51, abs=0.005)
    assert dyestuff.mean == pytest.approx(1527.5) and dyestuff.criterion == pytest.approx(319.6543, abs=1e-4)
    assert math.sqrt(dyestuff.inverse[0, 0]) == pytest.approx(19.38, abs=0.005)


def test_balanced_one_way_is_the_analysis_of_variance_in_closed_form(dyestuff):
    table = np.array(list(YIELDS.values()), float)
    within = table.var(axis=1, ddof=1).mean()
    between = (5 * table.mean(axis=1).var(ddof=1) - within) / 5
    assert dyestuff.spreads["batch"] ** 2 == pytest.approx(between, rel=1e-4)
    assert dyestuff.spreads["residual"] ** 2 == pytest.approx(within, rel=1e-4)
    kept = 5 * between / (5 * between + within)  # shrinkage of a batch's own mean
    expected = kept * (table.mean(axis=1) - table.mean())
    assert list(dyestuff.effects("batch").values()) == pytest.approx(list(expected), rel=1e-3)


def test_crossed_effects_against_statsmodels():
    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(3)
    n = 240
    kind, job = rng.integers(0, 6, n), rng.integers(0, 20, n)
    y = 0.2 + rng.normal(0, 0.3, 6)[kind] + rng.normal(0, 0.25, 20)[job] + rng.normal(0, 0.35, n)
    data = pd.DataFrame({"y": y, "kind": [f"k{k}" for k in kind], "job": [f"j{j:02d}" for j in job], "all": 1})
    parts = {"kind": "0 + C(kind)", "job": "0 + C(job)"}
    other = smf.mixedlm("y ~ 1", data, groups="all", vc_formula=parts, re_formula="0").fit(reml=True)
    own = fit_crossed(y, {"kind": data["kind"], "job": data["job"]})
    variances = dict(zip(sorted(parts), other.vcomp, strict=True))
    for name, variance in variances.items():
        assert own.spreads[name] ** 2 == pytest.approx(variance, rel=2e-2, abs=1e-4)
    assert own.spreads["residual"] ** 2 == pytest.approx(other.scale, rel=1e-2)
    assert own.mean == pytest.approx(float(other.fe_params.iloc[0]), abs=1e-3)
    # statsmodels leaves out the constant only in part; what counts is that no other spreads are more likely.
    assert own.criterion <= -2 * other.llf + 0.05


def test_leaving_a_group_out_is_fitting_without_it():
    rng = np.random.default_rng(8)
    jobs, kinds = np.repeat(np.arange(9), 6), np.tile(np.arange(6), 9)
    y = rng.normal(0, 0.3, 9)[jobs] + rng.normal(0, 0.2, 6)[kinds] + rng.normal(0, 0.3, 54)
    names = {"kind": [f"k{k}" for k in kinds], "job": [f"j{j}" for j in jobs]}
    fitted = fit_crossed(y, names)
    left = leave_out(fitted, "job")
    # Generalised least squares written out, with the same spreads and without job 4.
    mine, rest = jobs == 4, jobs != 4
    s = fitted.spreads
    v = s["kind"] ** 2 * (kinds[:, None] == kinds) + s["job"] ** 2 * (jobs[:, None] == jobs)
    v = v + s["residual"] ** 2 * np.eye(54)
    inner = np.linalg.inv(v[np.ix_(rest, rest)])
    mean = inner.sum(axis=0) @ y[rest] / inner.sum()
    cross = v[np.ix_(mine, rest)]
    location = mean + cross @ inner @ (y[rest] - mean)
    lack = 1 - cross @ inner.sum(axis=1)
    variance = np.diag(v[np.ix_(mine, mine)] - cross @ inner @ cross.T) + lack**2 / inner.sum()
    assert left.location[mine] == pytest.approx(location, abs=1e-8)
    assert left.scale[mine] == pytest.approx(np.sqrt(variance), abs=1e-8)


def test_forecasts_of_seen_and_unseen_levels():
    fitted = fit_crossed(Y, {"batch": BATCHES})
    seen, unseen = fitted.forecast(batch="E"), fitted.forecast(batch="Z")
    assert unseen.location == pytest.approx(1527.5) and seen.location > 1570
    assert unseen.scale == pytest.approx(math.sqrt(19.383**2 + 42.0**2 + 49.51**2), rel=1e-3)
    assert seen.scale < unseen.scale
    with pytest.raises(ValueError, match="no grouping"):
        fitted.forecast(colour="red")


def test_wild_records_weigh_less_and_make_a_heavy_tail():
    rng = np.random.default_rng(2)
    kinds = np.tile([f"k{k}" for k in range(8)], 50)
    calm = rng.normal(0, 0.3, 400)
    wild = np.where(rng.random(400) < 0.05, calm + 3, calm)
    heavy = fit_crossed(wild, {"kind": kinds}, tails=(20, 10, 6, 4, 3))
    plain = fit_crossed(calm, {"kind": kinds}, tails=(20, 10, 6, 4, 3))
    assert heavy.tail_df <= 4 and plain.tail_df >= 10
    assert abs(heavy.mean) < abs(fit_crossed(wild, {"kind": kinds}).mean)
    assert heavy.spreads["residual"] < 0.45


def test_ranges_hold_what_they_promise_on_invented_jobs():
    """Nominal 80 % intervals of left-out jobs: binomial 99.9 % bounds around 0.8."""
    rng = np.random.default_rng(11)
    jobs, kinds = np.repeat(np.arange(120), 7), np.tile(np.arange(7), 120)
    y = 0.2 + rng.normal(0, 0.3, 120)[jobs] + rng.normal(0, 0.25, 7)[kinds] + rng.normal(0, 0.35, 840)
    fitted = fit_crossed(y, {"kind": [f"k{k}" for k in kinds], "job": [f"j{j:03d}" for j in jobs]})
    left = leave_out(fitted, "job")
    assert coverage(left.rank, [0.5, 0.8, 0.9]) == pytest.approx([0.5, 0.8, 0.9], abs=0.05)
    sums = ranks_of_sums(fitted, left, np.ones(840), rng)
    low, high = stats.binom.ppf([0.0005, 0.9995], 120, 0.8) / 120
    assert low <= coverage(sums, [0.8])[0] <= high
    assert coverage([], [0.8])[0] != coverage([], [0.8])[0]


@pytest.mark.parametrize("y", [[1.0], [], [1.0, math.nan], [[1.0, 2.0]]])
def test_records_that_cannot_be_are_refused(y):
    with pytest.raises(ValueError, match="y must hold"):
        fit_crossed(y, {})


def test_equal_records_make_nobody_certain():
    fitted = fit_crossed(
        [0.5] * 12, {"kind": ["a"] * 12}, pulls={"kind": Pull(0.2), "residual": Pull(0.35)}, rounding=0.05
    )
    assert fitted.mean == pytest.approx(0.5) and fitted.spreads["residual"] >= 0.05
    with pytest.raises(ValueError, match="one level for each record"):
        fit_crossed([0.0, 1.0], {"kind": ["a"]})
