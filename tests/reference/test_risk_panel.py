"""Rates fitted to panel data against a published fit of the closest data there are: progressive, seen at visits.

Data: D. D. Gladman and V. T. Farewell 1999, J. Rheumatol. 26(11):2409-2413. Fit: the test suite of the R package msm
(C. H. Jackson, Journal of Statistical Software 38(8), 2011), whose optimiser stops where the last digits still move:
hence its mean stays are compared to four digits and its log-likelihood to 1e-4.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from survey.risk.stages import Misclassification, PanelFit, fit_panel

PROGRESSIVE = np.eye(4, k=1, dtype=bool)
DATA = Path(__file__).parent / "data" / "psor_progressive_panel.csv"


def rows(*, complete: bool) -> dict[str, np.ndarray]:
    with DATA.open(encoding="utf-8", newline="") as lines:
        read = [row for row in csv.DictReader(lines) if not complete or row["ollwsdrt"]]
    columns = ("ptnum", "months", "state", "hieffusn", "ollwsdrt") if complete else ("ptnum", "months", "state")
    return {name: np.array([float(row[name]) for row in read]) for name in columns}


def fit_with_covariates(**more) -> PanelFit:
    seen = rows(complete=True)
    return fit_panel(
        seen["ptnum"],
        seen["months"],
        seen["state"].astype(int) - 1,
        allowed=PROGRESSIVE,
        covariates={"ollwsdrt": seen["ollwsdrt"], "hieffusn": seen["hieffusn"]},
        shared={"ollwsdrt": [[(0, 1), (1, 2)], [(2, 3)]], "hieffusn": "all"},
        **more,
    )


@pytest.fixture(scope="module")
def fit() -> PanelFit:
    return fit_with_covariates()


def test_counts_of_transitions():  # table printed in the paper's data description
    seen = rows(complete=False)
    person, state = seen["ptnum"], seen["state"].astype(int) - 1
    same = person[1:] == person[:-1]
    counts = np.zeros((4, 4), dtype=int)
    np.add.at(counts, (state[:-1][same], state[1:][same]), 1)
    assert counts.tolist() == [[183, 56, 16, 8], [0, 100, 35, 18], [0, 0, 48, 37], [0, 0, 0, 0]]


def test_log_likelihood(fit):
    assert fit.converged
    assert fit.log_likelihood == pytest.approx(-557.449730608585, abs=1e-4)
    assert fit.log_likelihood >= -557.449730608585  # the top cannot lie below where another optimiser stopped


def test_mean_stays(fit):
    assert fit.sojourn()[:3] == pytest.approx([10.4237239, 6.0861857, 3.9310840], rel=3e-5)
    assert fit.sojourn()[:3] == pytest.approx([10.42369, 6.08622, 3.93117], abs=1.5e-5)  # second computation
    assert fit.sojourn()[3] == np.inf


def test_expected_stays_over_a_time(fit):
    assert fit.expected_stay(0, 1, 30)[:3] == pytest.approx([8.8839182, 5.2813133, 3.1862809], rel=3e-5)
    assert fit.expected_stay(1, 10, 30)[:3] == pytest.approx([0, 1.1329681, 1.5067442], rel=5e-5)


def test_hazard_ratios_and_rates_at_the_means(fit):
    """Second, independent computation of the same fit (general-purpose optimiser on scipy's matrix exponential)."""
    assert fit.means == {"ollwsdrt": pytest.approx(0.309577, abs=5e-7), "hieffusn": pytest.approx(0.167038, abs=5e-7)}
    assert np.diagonal(fit.rates, 1) == pytest.approx([0.0959353, 0.1643055, 0.2543772], rel=5e-6)
    own, common = np.exp(fit.coefficients["ollwsdrt"]), np.exp(fit.coefficients["hieffusn"])
    assert [own[0, 1], own[1, 2], own[2, 3]] == pytest.approx([0.56519, 0.56519, 1.64083], abs=2e-5)
    assert [common[0, 1], common[1, 2], common[2, 3]] == pytest.approx([1.64598] * 3, abs=2e-5)


def test_without_covariates():
    """Second, independent computation, whose optimiser stopped at the fifth digit of the rates."""
    seen = rows(complete=False)
    fit = fit_panel(seen["ptnum"], seen["months"], seen["state"].astype(int) - 1, allowed=PROGRESSIVE)
    assert -2 * fit.log_likelihood == pytest.approx(1246.01528, abs=2e-5)
    assert np.diagonal(fit.rates, 1) == pytest.approx([0.0912463, 0.1571599, 0.2598213], rel=5e-6)
    assert fit.transition_matrix(10.0)[0, 3] == pytest.approx(0.1904696, abs=1e-6)


def test_surveyors_who_never_err_change_nothing(fit):
    """A hidden chain seen without error has the same likelihood but for the known first states."""
    hidden = fit_with_covariates(misclassification=Misclassification(np.eye(4), initial=np.full(4, 0.25)))
    people = np.unique(rows(complete=True)["ptnum"]).size
    assert hidden.log_likelihood + people * np.log(4) == pytest.approx(fit.log_likelihood, abs=1e-7)
    assert hidden.rates == pytest.approx(fit.rates, rel=1e-5, abs=1e-12)
