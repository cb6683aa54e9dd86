"""Estimates from samples against published results.

The api samples of the R package "survey" (Lumley): schools of a state with their score in 2000. `data/sampling_api.csv`
holds four of them with the columns needed here, read from data/api.rda of that package (version 4.5). Results marked
"R survey" stand in the package's own printed output, tests/testoutput/api.Rout.saved.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from survey.sampling.estimate import cluster_mean, cluster_total, ratio, srs_mean, srs_proportion, stratified_mean

SCHOOLS = 6194
DISTRICTS = 757
STRATA = {"E": 4421, "H": 755, "M": 1018}


def sample(name):
    with (Path(__file__).parent / "data" / "sampling_api.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["sample"] == name]
    numbers = {
        key: np.array([float(row[key] or "nan") for row in rows]) for key in ("score", "enrolled", "tested", "yes")
    }
    sizes = {row["cluster"]: int(row["cluster_size"]) for row in rows if row["cluster_size"]}
    return numbers | {"stratum": [row["stratum"] for row in rows], "cluster": [row["cluster"] for row in rows]}, sizes


def test_simple_random_sample_mean():
    rows, _ = sample("apisrs")
    got = srs_mean(rows["score"], SCHOOLS)
    # R survey, printed in its documentation as 656.58 and 9.2497 (from memory).
    assert got.value == pytest.approx(656.585, abs=1e-9)
    assert got.standard_error == pytest.approx(9.2497, abs=5e-5)


def test_simple_random_sample_share():
    rows, _ = sample("apisrs")
    yes = int(rows["yes"].sum())
    assert (yes, len(rows["yes"])) == (163, 200)
    got = srs_proportion(yes, 200, SCHOOLS)
    # Cochran 1977, section 3.2: the formula for 0/1 data is that of the mean.
    as_mean = srs_mean(rows["yes"], SCHOOLS)
    assert (got.value, got.standard_error) == pytest.approx((as_mean.value, as_mean.standard_error), rel=1e-12)
    assert (got.value, got.standard_error) == pytest.approx((0.815, 0.0270776), abs=5e-8)
    assert srs_proportion(yes, 200, math.inf).standard_error == pytest.approx(0.0275257, abs=5e-8)
    # The truth over all 6,194 schools, known for this data set, lies within one standard error and a half.
    assert abs(got.value - 0.826929) < 1.5 * got.standard_error


def test_stratified_mean_score():
    rows, _ = sample("apistrat")
    got = stratified_mean(rows["score"], rows["stratum"], STRATA)
    # R survey: svymean(~api00, dstrat) prints 662.29 and 9.4089.
    assert got.value == pytest.approx(662.2874, abs=5e-5)
    assert got.standard_error == pytest.approx(9.40894, abs=5e-6)
    assert got.population == SCHOOLS


def test_stratified_total_enrolment():
    rows, _ = sample("apistrat")
    got = stratified_mean(rows["enrolled"], rows["stratum"], STRATA)
    # R survey: svytotal(~enroll, dstrat) prints 3687178 and 114642.
    assert got.total == pytest.approx(3_687_178, abs=0.5)
    assert got.total_standard_error == pytest.approx(114_642, abs=0.5)


def test_stratified_share():
    rows, _ = sample("apistrat")
    got = stratified_mean(rows["yes"], rows["stratum"], STRATA)
    # Cochran 1977, section 5.10, on 91/100, 26/50 and 35/50 of this sample, computed apart from this code.
    assert (got.value, got.standard_error) == pytest.approx((0.827948, 0.0243448), abs=5e-7)


@pytest.mark.parametrize(("stratum", "expected"), [("E", 12.3825), ("H", 14.9371), ("M", 16.2147)])
def test_each_stratum_is_a_simple_random_sample(stratum, expected):
    rows, _ = sample("apistrat")
    within = rows["score"][np.array(rows["stratum"]) == stratum]
    # Computed apart from this code; R survey's svyby gives the same form.
    assert srs_mean(within, STRATA[stratum]).standard_error == pytest.approx(expected, abs=5e-5)


def test_one_stage_clusters_mean():
    rows, _ = sample("apiclus1")
    got = cluster_mean(rows["score"], rows["cluster"], DISTRICTS)
    # R survey: svymean(~api00, dclus1) prints 644.17 and 23.542.
    assert got.value == pytest.approx(644.1694, abs=5e-5)
    assert got.standard_error == pytest.approx(23.54224, abs=5e-6)
    # Taking the 183 schools for a simple random sample would claim less than half of that error.
    assert srs_mean(rows["score"], SCHOOLS).standard_error < got.standard_error / 2


def test_one_stage_clusters_total():
    rows, _ = sample("apiclus1")
    got = cluster_total(rows["enrolled"], rows["cluster"], DISTRICTS)
    assert got.value == pytest.approx(5_076_846, abs=0.5)
    # R survey: svytotal(~enroll, dclus1) prints 3404940 and 932235 with the weight 33.847 supplied in the data, which
    # the package's help calls wrong; the right one is 757/15.
    supplied = 33.847 / (DISTRICTS / 15)
    assert got.value * supplied == pytest.approx(3_404_940, rel=1e-6)
    assert got.standard_error * supplied == pytest.approx(932_235, rel=1e-5)


def test_two_stage_clusters_mean():
    rows, sizes = sample("apiclus2")
    got = cluster_mean(rows["score"], rows["cluster"], DISTRICTS, cluster_sizes=sizes)
    # R survey: svymean(~api00, dclus2) prints 670.81 and 30.099.
    assert got.value == pytest.approx(670.81, abs=5e-3)
    assert got.standard_error == pytest.approx(30.099, abs=5e-4)


def test_two_stage_clusters_total():
    rows, sizes = sample("apiclus2")
    # na.rm in the package gives a school without a number no weight, which is a nought in a total.
    enrolled = np.nan_to_num(rows["enrolled"])
    got = cluster_total(enrolled, rows["cluster"], DISTRICTS, cluster_sizes=sizes)
    # R survey: svytotal(~enroll, dclus2, na.rm=TRUE) prints 2639273 and 799638.
    assert got.value == pytest.approx(2_639_273, abs=0.5)
    assert got.standard_error == pytest.approx(799_638, abs=0.5)


def test_ratio_of_two_totals():
    rows, _ = sample("apisrs")
    assert (rows["tested"].sum(), rows["enrolled"].sum()) == (96_502, 116_922)
    got = ratio(rows["tested"], rows["enrolled"], SCHOOLS)
    # Cochran 1977, section 6.3, on this sample, computed apart from this code.
    assert (got.value, got.standard_error) == pytest.approx((0.8253537, 0.0100688), abs=5e-8)


# Worked by hand from the formulas of Cochran 1977: 5 shelves picked of 40, holding 12, 10, 15, 8 and 20 objects, of
# which 4, 5, 5, 4 and 5 were looked at and 1, 2, 0, 3 and 1 were failing.
SHELVES = {"A": 12, "B": 10, "C": 15, "D": 8, "E": 20}
LOOKED_AT = {"A": (1, 4), "B": (2, 5), "C": (0, 5), "D": (3, 4), "E": (1, 5)}
FAILING = [float(i < failing) for failing, n in LOOKED_AT.values() for i in range(n)]
ON_SHELF = [shelf for shelf, (_, n) in LOOKED_AT.items() for _ in range(n)]


def test_shelves_then_objects_total():
    # Estimated totals 3, 4, 0, 6, 4; 136 in all; variance 1344 between shelves and 184 within.
    got = cluster_total(FAILING, ON_SHELF, 40, cluster_sizes=SHELVES)
    assert (got.value, got.standard_error) == pytest.approx((136, math.sqrt(1344 + 184)), rel=1e-12)
    assert got.standard_error == pytest.approx(39.090, abs=5e-4)


def test_shelves_then_objects_share():
    got = cluster_mean(FAILING, ON_SHELF, 40, cluster_sizes=SHELVES)
    assert (got.value, got.standard_error) == pytest.approx((17 / 65, 0.0975252), abs=5e-8)
    assert got.degrees_of_freedom == 4


def test_store_of_five_hundred():
    # Cochran 1977, section 3.2, by hand: 30 of 120 failing in a store of 500.
    got = srs_proportion(30, 120, 500)
    assert (got.value, got.standard_error) == pytest.approx((0.25, 0.0346046), abs=5e-8)
    assert (got.total, got.total_standard_error) == pytest.approx((125, 17.302), abs=5e-3)
    assert srs_proportion(30, 120, math.inf).standard_error == pytest.approx(0.0396942, abs=5e-8)
    assert got.value - 1.959964 * got.standard_error == pytest.approx(0.1822, abs=5e-5)
    assert got.value + 1.959964 * got.standard_error == pytest.approx(0.3178, abs=5e-5)


def test_three_stores():
    # Cochran 1977, section 5.10, by hand: 4 of 40, 9 of 30 and 5 of 10 failing, of 200, 150 and 50 objects.
    values = [1] * 4 + [0] * 36 + [1] * 9 + [0] * 21 + [1] * 5 + [0] * 5
    stores = ["a"] * 40 + ["b"] * 30 + ["c"] * 10
    got = stratified_mean(values, stores, {"a": 200, "b": 150, "c": 50})
    assert (got.value, got.standard_error) == pytest.approx((0.225, 0.0402916), abs=5e-8)
    assert (got.total, got.total_standard_error) == pytest.approx((90, 16.117), abs=5e-4)
