"""Magnitude of a long-term risk on three logarithmic scales, its spread, and what a band of it means.

A long-term yearly rate is not the chance of failing before an opening day: both are kept, neither replaces the other.
Source: S. Michalski and J. L. Pedersoli, The ABC Method (CCI and ICCROM, 2016); its tables from memory, its
two-by-two table of magnitude and uncertainty as printed on pp. 134-135.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

TOP = 5.0  # of each scale; 15 is everything lost in a year


def score(
    years: ArrayLike, loss_fraction: ArrayLike, value_fraction: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    r"""Scores A (how soon), B (how much of each thing is lost), C (how much of the whole is touched).

    .. math:: A = 5 - \log_{10} y, \quad B = 5 + \log_{10} f, \quad C = 5 + \log_{10} v

    Parameters
    ----------
    years : array_like, years between events, > 0
    loss_fraction : array_like, share of value lost in each thing touched, 0 to 1
    value_fraction : array_like, share of the whole value that is touched, 0 to 1

    Returns
    -------
    (ndarray, ndarray, ndarray)
        Each 0 to 5, not rounded (see ``half_steps``): what lies beyond an end of a scale gets that end.
        nan where an input is nan.

    Raises
    ------
    ValueError
        An argument out of range, named.

    Examples
    --------
    >>> [part.round(3).item() for part in score(10, 0.03, 0.10)]
    [4.0, 3.477, 4.0]
    """
    years = np.asarray(years, dtype=np.float64)
    if np.any(years <= 0):
        raise ValueError("years must be more than zero")
    loss, value = _share("loss_fraction", loss_fraction), _share("value_fraction", value_fraction)
    with np.errstate(divide="ignore"):
        parts = TOP - np.log10(years), TOP + np.log10(loss), TOP + np.log10(value)
    how_soon, how_much, of_what = (np.clip(part, 0.0, TOP)[()] for part in parts)
    return how_soon, how_much, of_what


def half_steps(scores: ArrayLike) -> NDArray[np.float64]:
    """Scores rounded to the nearest half, as the method prints them; quarters go up."""
    return np.asarray(np.floor(np.asarray(scores, dtype=np.float64) * 2.0 + 0.5) / 2.0)[()]


def yearly_loss(years: ArrayLike, loss_fraction: ArrayLike, value_fraction: ArrayLike) -> NDArray[np.float64]:
    """Share of the whole value lost per year: 10 ** (A + B + C - 15) without the ends of the scales."""
    years = np.asarray(years, dtype=np.float64)
    if np.any(years <= 0):
        raise ValueError("years must be more than zero")
    return np.asarray(_share("loss_fraction", loss_fraction) * _share("value_fraction", value_fraction) / years)[()]


def times_worse(score_difference: ArrayLike) -> NDArray[np.float64]:
    """How many times more is lost per year for a difference in total score: one point is ten times."""
    return np.asarray(10.0 ** np.asarray(score_difference, dtype=np.float64))[()]


@dataclass(frozen=True)
class MagnitudeRange:
    """Total score at the low, likely and high estimates of its three parts; each an array [...]."""

    low: NDArray[np.float64]
    likely: NDArray[np.float64]
    high: NDArray[np.float64]


def corner_range(low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> MagnitudeRange:
    """Total of parts [..., 3] when all three lie at their low, likely, high ends; wider than independent parts give."""
    return MagnitudeRange(*(np.asarray(part.sum(axis=-1))[()] for part in _ordered(low, likely, high)))


def independent_spread(low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> NDArray[np.float64]:
    """Width from the 5 % to the 95 % point of the total of independent triangular parts [..., 3], taken as normal.

    Corners overstate the spread: three parts are seldom all at their worst together. Variance of a triangular
    distribution: (a² + b² + c² - ab - ac - bc) / 18.
    """
    a, c, b = _ordered(low, likely, high)
    variance = (a * a + b * b + c * c - a * b - a * c - b * c) / 18.0
    return np.asarray(2.0 * ndtri(0.95) * np.sqrt(variance.sum(axis=-1)))[()]


def triangular_totals(
    low: ArrayLike, likely: ArrayLike, high: ArrayLike, *, draws: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Draws [draws] of the total of three independent triangular scores, each argument [3]."""
    ends = _ordered(low, likely, high)
    if ends[0].shape != (3,):
        raise ValueError("low, likely and high must have three parts each")
    if draws < 1:
        raise ValueError("draws must be at least 1")
    total = np.zeros(draws)
    for left, mode, right in zip(*ends, strict=True):
        total += rng.triangular(left, mode, right, draws) if right > left else np.full(draws, mode)
    return total


@dataclass(frozen=True)
class Bands:
    """Names for stretches of the total score: ``names[i]`` from ``starts[i]`` up. To be agreed by the department."""

    starts: tuple[float, ...]
    names: tuple[str, ...]
    grounds: str

    def __post_init__(self) -> None:
        if len(self.starts) != len(self.names) or not self.starts:
            raise ValueError("starts and names must be of one length, at least one")
        if any(left >= right for left, right in pairwise(self.starts)):
            raise ValueError("starts must increase")

    def name(self, total: float) -> str:
        """The band of one total score; below the first start, the first name."""
        return self.names[max(0, int(np.searchsorted(self.starts, half_steps(total), side="right")) - 1)]


# Two publications give different words for the same numbers, so bands are a choice of the department.
MANUAL_BANDS = Bands(
    (0.0, 7.5, 9.5, 11.5, 13.5),
    ("low", "medium", "high", "extreme", "catastrophic"),
    "the method's manual (from memory)",
)
SUMMARY_BANDS = Bands(
    (0.0, 5.5, 9.5, 11.5, 14.5),
    ("negligible", "medium to negligible", "medium to high", "high", "catastrophic"),
    "a conference summary of the method",
)


def action(total: ArrayLike, spread: ArrayLike, *, split: float = 10.0, wide: float = 1.0) -> NDArray[np.str_]:
    """What to do by magnitude and uncertainty: ``treat``, ``review``, ``none`` or ``review-later``.

    ``total`` is the score, ``spread`` the width from its low to its high estimate; ``split`` and ``wide`` part high
    from low. Source: The ABC Method (2016), table 22.
    """
    high = np.asarray(total, dtype=np.float64) >= split
    unsure = np.asarray(spread, dtype=np.float64) > wide
    return np.where(high, np.where(unsure, "review", "treat"), np.where(unsure, "review-later", "none"))


def _share(name: str, values: ArrayLike) -> NDArray[np.float64]:
    """Numbers from 0 to 1, nan allowed; else ValueError by name."""
    numbers = np.asarray(values, dtype=np.float64)
    if np.any((numbers < 0) | (numbers > 1)):
        raise ValueError(f"{name} must lie between 0 and 1")
    return numbers


def _ordered(
    low: ArrayLike, likely: ArrayLike, high: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """The three estimates as arrays of one shape [..., 3], each not below the one before."""
    left, mode, right = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (low, likely, high)))
    if left.ndim == 0 or left.shape[-1] != 3:
        raise ValueError("low must have its three parts on the last axis")
    if not (np.all(left <= mode) and np.all(mode <= right)):
        raise ValueError("low, likely and high must not decrease")
    return left, mode, right
