"""Agreement between surveyors against published tables and against statsmodels."""

import math

import numpy as np
import pytest
from statsmodels.stats import inter_rater

from survey.sampling.agreement import (
    cohen_kappa,
    cohen_kappa_error,
    contingency,
    fleiss_kappa,
    fleiss_kappa_error,
    gwet_ac1,
    gwet_ac1_counts,
    krippendorff_alpha,
    raw_agreement,
)

# Fleiss 1971, Psychological Bulletin 76, 378-382: 30 patients, 6 psychiatrists, 5 diagnoses.
FLEISS_1971_ROWS = """
    00060 03003 01401 00006 03030 20400 00402 20310 20040 00006 10050 11040 03300 10050 02031
    00501 30012 51000 02040 10203 00006 01050 02013 20040 10041 05010 40002 02040 10500 00006
"""
FLEISS_1971 = np.array([[int(digit) for digit in row] for row in FLEISS_1971_ROWS.split()])
# The worked table of statsmodels' tests: 10 subjects, 14 raters, 5 categories.
TEN_BY_FOURTEEN = np.array(
    [
        [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
    ]
)  # fmt: skip
SAS = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
FOUR_GRADES = [[20, 6, 1, 0], [5, 30, 8, 1], [0, 7, 15, 4], [0, 0, 3, 10]]

_ = math.nan
# Krippendorff 2011, Computing Krippendorff's Alpha-Reliability, data C: four observers, twelve units.
DATA_C = [
    [1, 2, 3, 3, 2, 1, 4, 1, 2, _, _, _],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, _, _],
    [_, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, 3],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, _],
]


def ratings_of(counts):
    """Counts [units, categories] as ratings [raters, units]; who said what does not matter to alpha."""
    return np.array([np.repeat(np.arange(len(row)), row) for row in counts]).T


def test_kappa_of_a_textbook_table():
    assert cohen_kappa([[20, 5], [10, 15]]) == pytest.approx(0.40, abs=1e-12)


def test_kappa_of_a_sas_printout():
    # SAS output quoted in the tests of statsmodels: kappa .4842, error .1380, .2137 to .7547; weighted .4701, .1457.
    assert cohen_kappa(SAS) == pytest.approx(0.4842, abs=5e-5)
    assert cohen_kappa_error(SAS) == pytest.approx(0.1380, abs=5e-5)
    assert cohen_kappa(SAS) - 1.959964 * cohen_kappa_error(SAS) == pytest.approx(0.2137, abs=5e-5)
    assert cohen_kappa(SAS) + 1.959964 * cohen_kappa_error(SAS) == pytest.approx(0.7547, abs=5e-5)
    assert cohen_kappa(SAS, "linear") == pytest.approx(0.4701, abs=5e-5)
    assert cohen_kappa_error(SAS, "linear") == pytest.approx(0.1457, abs=5e-5)


def test_kappa_of_four_grades_by_every_weight():
    assert cohen_kappa(FOUR_GRADES) == pytest.approx(0.5541918, abs=5e-8)
    assert cohen_kappa(FOUR_GRADES, "linear") == pytest.approx(0.6793761, abs=5e-8)
    assert cohen_kappa(FOUR_GRADES, "quadratic") == pytest.approx(0.7974854, abs=5e-8)


@pytest.mark.parametrize("table", [SAS, FOUR_GRADES, [[20, 5], [10, 15]], [[118, 5], [2, 0]]])
@pytest.mark.parametrize("weights", [None, "linear", "quadratic"])
def test_kappa_and_its_error_against_statsmodels(table, weights):
    theirs = inter_rater.cohens_kappa(np.array(table), wt={None: None, "linear": "linear", "quadratic": "fc"}[weights])
    assert cohen_kappa(table, weights) == pytest.approx(theirs.kappa, abs=1e-12)
    assert cohen_kappa_error(table, weights) == pytest.approx(theirs.std_kappa, abs=1e-12)


def test_fleiss_1971():
    kappa = fleiss_kappa(FLEISS_1971)
    # R package irr on the data of Fleiss 1971: kappa 0.430, z 17.65183 (quoted in the tests of statsmodels).
    assert kappa == pytest.approx(0.4302445, abs=5e-8)
    assert kappa / fleiss_kappa_error(FLEISS_1971) == pytest.approx(17.65183, abs=5e-6)
    assert list(FLEISS_1971.sum(0)) == [26, 26, 30, 55, 43]


def test_fleiss_kappa_of_ten_subjects():
    assert fleiss_kappa(TEN_BY_FOURTEEN) == pytest.approx(0.2099307, abs=5e-8)
    assert fleiss_kappa(TEN_BY_FOURTEEN) == pytest.approx(inter_rater.fleiss_kappa(TEN_BY_FOURTEEN), abs=1e-12)


def test_other_coefficients_on_fleiss_1971():
    # Gwet 2008 and Krippendorff 2011 formulas, computed apart from this code.
    assert gwet_ac1_counts(FLEISS_1971) == pytest.approx(0.4478845, abs=5e-8)
    assert krippendorff_alpha(ratings_of(FLEISS_1971), "nominal") == pytest.approx(0.4334098, abs=5e-8)


@pytest.mark.parametrize(
    ("level", "expected"),
    [("nominal", 0.743421), ("ordinal", 0.815388), ("interval", 0.849107), ("ratio", 0.797403)],
)
def test_krippendorff_data_c(level, expected):
    # Krippendorff 2011 prints .743, .815, .849 and .797 (from memory); further places by two other implementations.
    assert krippendorff_alpha(DATA_C, level) == pytest.approx(expected, abs=5e-7)


def test_krippendorff_two_observers_two_values():
    # Krippendorff 2011, data A: .095.
    a, b = [[int(x) for x in row] for row in ("0100000010", "1110010000")]
    assert krippendorff_alpha([a, b], "nominal") == pytest.approx(0.0952381, abs=5e-8)


def test_alpha_of_two_complete_raters_by_scotts_pi():
    """Krippendorff 2004: alpha = 1 - (1 - pi)(2N - 1)/2N for nominal data without gaps (from memory)."""
    ratings = np.random.default_rng(4).integers(0, 3, (2, 50))
    table = contingency(ratings[0], ratings[1], 3) / 50
    shared = (table.sum(0) + table.sum(1)) / 2
    pi = (np.trace(table) - shared @ shared) / (1 - shared @ shared)
    assert krippendorff_alpha(ratings, "nominal") == pytest.approx(1 - (1 - pi) * 99 / 100, abs=1e-12)


def test_a_rare_sign_makes_kappa_low_though_nearly_all_agree():
    # The paradox of Feinstein & Cicchetti 1990, Journal of Clinical Epidemiology 43, 543-549 (from memory).
    table = [[118, 5], [2, 0]]
    assert raw_agreement(table) == pytest.approx(0.944, abs=1e-12)
    assert cohen_kappa(table) == pytest.approx(-0.0234, abs=5e-5)
    assert gwet_ac1(table) == pytest.approx(0.9408, abs=5e-5)
