"""How far real hours stray from estimated hours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

CELLS = 1 << 14


@dataclass(frozen=True)
class Noise:
    """Log-normal factors on the hours of a step.

    Parameters
    ----------
    sigma : float, >= 0
        Standard deviation of the logarithm of a step's factor. The factor has mean 1: estimates are taken as right on
        average, unless ``team_median`` says otherwise.
    shared : float in [0, 1]
        Share of that variance which all steps of one object have in common: a tough object is tough throughout.
    team_median, team_sigma : float, > 0 and >= 0
        A factor common to all work of a trial, for estimates that run short (or long) together: its median, and the
        standard deviation of its logarithm.

    Raises
    ------
    ValueError
        A parameter out of its range, named.
    """

    sigma: float = 0.45
    shared: float = 0.5
    team_median: float = 1.0
    team_sigma: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high in (("sigma", 0, 3), ("shared", 0, 1), ("team_median", 0.01, 100), ("team_sigma", 0, 3)):
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} must lie between {low} and {high}")

    def tables(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Factors of a step by itself, of an object and of the team, each as ``CELLS`` equally likely values."""
        step = lognormal_cells(self.sigma * np.sqrt(1 - self.shared))
        thing = lognormal_cells(self.sigma * np.sqrt(self.shared))
        team = lognormal_cells(self.team_sigma) * self.team_median * np.exp(self.team_sigma**2 / 2)
        return step, thing, team


def lognormal_cells(sigma: float, cells: int = CELLS) -> NDArray[np.float64]:
    r"""A log-normal distribution of mean 1, cut into equally likely cells, each given by its own mean.

    The mean over a cell between standard normal quantiles a and b is
    :math:`n\,[\Phi(b - \sigma) - \Phi(a - \sigma)]`, so the mean of all cells is exactly 1.
    Source: partial expectation of the log-normal distribution (from memory).

    Parameters
    ----------
    sigma : float, >= 0; standard deviation of the logarithm
    cells : int, >= 1

    Returns
    -------
    ndarray, shape (cells,), increasing
    """
    if sigma < 0:
        raise ValueError("sigma must not be negative")
    if sigma == 0:
        return np.ones(cells)  # exactly, so that hours without noise end on the quarter-hour
    edges = ndtri(np.linspace(0.0, 1.0, cells + 1))
    return np.diff(ndtr(edges - sigma)) * cells
