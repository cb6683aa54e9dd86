"""The three scales against the tables and worked examples of The ABC Method (Michalski and Pedersoli 2016)."""

import numpy as np
import pytest

from survey.risk.magnitude import (
    MANUAL_BANDS,
    SUMMARY_BANDS,
    action,
    corner_range,
    half_steps,
    independent_spread,
    score,
    times_worse,
    triangular_totals,
    yearly_loss,
)

# Scale table of the method (from memory): score, years between events, share lost.
TABLE = [
    (5, 1, 1), (4.5, 3, 0.3), (4, 10, 0.1), (3.5, 30, 0.03), (3, 100, 0.01), (2.5, 300, 0.003), (2, 1000, 0.001),
    (1.5, 3000, 3e-4), (1, 10_000, 1e-4), (0.5, 30_000, 3e-5),
]  # fmt: skip


@pytest.mark.parametrize(("expected", "years", "share"), TABLE)
def test_every_row_of_the_scales(expected, years, share):
    assert half_steps(score(years, share, share)) == pytest.approx([expected] * 3)


# Worked by hand: years, loss, value -> A, B, C, total, to half steps, lost per year.
EXAMPLES = [
    ((10, 0.03, 0.10), (4, 3.477, 4), 11.477, 11.5, 3.0e-4),
    ((30, 0.10, 0.01), (3.523, 4, 3), 10.523, 10.5, 3.33e-5),
    ((100, 1, 0.0003), (3, 5, 1.477), 9.477, 9.5, 3.0e-6),
    ((10, 0.10, 1 / 300), (4, 4, 2.523), 10.523, 10.5, 3.33e-5),
    ((1, 1, 1), (5, 5, 5), 15, 15, 1),
]


@pytest.mark.parametrize(("given", "parts", "total", "rounded", "lost"), EXAMPLES)
def test_worked_examples(given, parts, total, rounded, lost):
    got = score(*given)
    assert got == pytest.approx(parts, abs=5e-4)
    assert sum(got) == pytest.approx(total, abs=1e-3)
    assert half_steps(sum(got)) == rounded
    assert yearly_loss(*given) == pytest.approx(lost, rel=2e-3)
    assert yearly_loss(*given) == pytest.approx(10 ** (sum(got) - 15), rel=1e-12)


def test_thirteen_is_one_per_cent_a_year():
    """A conference summary of the method: 12 to 13 is lost in 100 years; 13 is 1 % a year, all in 100 years."""
    assert times_worse(13 - 15) == pytest.approx(0.01)
    assert sum(score(1, 0.1, 0.1)) == pytest.approx(13)
    assert SUMMARY_BANDS.name(13) == SUMMARY_BANDS.name(12) == "high"


def test_bands_of_the_manual():  # from memory: 13.5 to 15, 11.5 to 13, 9.5 to 11, 7.5 to 9, 7 and less
    names = [MANUAL_BANDS.name(total) for total in (15, 13.5, 13, 11.5, 11, 9.5, 9, 7.5, 7, 0)]
    assert names == ["catastrophic"] * 2 + ["extreme"] * 2 + ["high"] * 2 + ["medium"] * 2 + ["low"] * 2


@pytest.mark.parametrize(
    ("total", "spread", "expected"),
    [(11.5, 0.5, "treat"), (11.5, 3, "review"), (8, 0.5, "none"), (8, 3, "review-later")],
)
def test_what_to_do_by_magnitude_and_uncertainty(total, spread, expected):  # table 22, pp. 134-135
    assert action(total, spread) == expected


def test_range_of_low_likely_and_high():
    """30, 10, 3 years; 1, 3, 10 %; 5, 10, 20 %: worked by hand, and drawn apart with independent triangles."""
    ends = [np.array(score(*given)) for given in ((30, 0.01, 0.05), (10, 0.03, 0.10), (3, 0.10, 0.20))]
    corners = corner_range(*ends)
    assert (corners.low, corners.likely, corners.high) == (
        pytest.approx(10.22, abs=0.03), pytest.approx(11.48, abs=0.03), pytest.approx(12.82, abs=0.03),
    )  # fmt: skip
    on_scale = ((3.5, 3, 3.699), (4, 3.5, 4), (4.5, 4, 4.301))
    rounded = corner_range(*on_scale)
    assert [rounded.low, rounded.likely, rounded.high] == pytest.approx([10.20, 11.50, 12.80], abs=2e-3)
    totals = triangular_totals(*on_scale, draws=200_000, rng=np.random.default_rng(1))
    assert (totals.mean(), totals.std()) == (pytest.approx(11.50, abs=0.005), pytest.approx(0.314, abs=0.002))
    assert np.quantile(totals, [0.05, 0.95]) == pytest.approx([10.98, 12.02], abs=0.01)


def test_the_spread_of_independent_parts_against_draws():
    """Worked example of a risk of 10 years, 3 % and 10 %: 10.98 to 12.02 by independent triangular draws."""
    spread = independent_spread([3.5, 3.0, 3.699], [4.0, 3.5, 4.0], [4.5, 4.0, 4.301])
    assert spread == pytest.approx(12.02 - 10.98, abs=0.02)
    rng = np.random.default_rng(7)
    draws = sum(rng.triangular(low, mode, high, 200_000) for low, mode, high in ((1, 2, 2.5), (3, 3.2, 5), (0, 1, 1.1)))
    low, high = np.quantile(draws, [0.05, 0.95])
    assert independent_spread([1, 3, 0], [2, 3.2, 1], [2.5, 5, 1.1]) == pytest.approx(high - low, rel=0.03)
