"""Maximum of a log-likelihood whose gradient is known, with the covariance that its curvature gives."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Objective = Callable[[NDArray[np.float64]], tuple[float, NDArray[np.float64]]]


_LEAST_INFORMATION = 1e-5  # below this a parameter's standard error exceeds 300 on the log scale: it is running away


@dataclass(frozen=True)
class Maximum:
    """Where a log-likelihood is largest.

    ``covariance`` is nan for parameters that the data do not hold (not ``held``: they would go on for ever) and
    throughout where the curvature is not that of a peak.
    """

    at: NDArray[np.float64]
    value: float
    covariance: NDArray[np.float64]
    held: NDArray[np.bool_]
    converged: bool


def maximise(objective: Objective, start: NDArray[np.float64]) -> Maximum:
    """Climb from ``start`` by Newton steps within a trust region, J. Nocedal and S. Wright (2006), chapter 4."""

    def loss(at: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        value, gradient = objective(at)
        return -value, -gradient

    found = minimize(
        loss,
        start,
        jac=True,
        hess=lambda at: _curvature(loss, at),
        method="trust-exact",
        options={"gtol": 1e-7, "maxiter": 200, "initial_trust_radius": 0.5, "max_trust_radius": 4.0},
    )
    at = np.asarray(found.x, dtype=np.float64)
    hessian = _curvature(loss, at)
    held = np.abs(np.diagonal(hessian)) > _LEAST_INFORMATION
    flat = np.max(np.abs(loss(at)[1]), initial=0.0) < 1e-5 * max(1.0, abs(found.fun))
    return Maximum(at, -float(found.fun), _covariance(hessian, held), held, bool(flat))


def _curvature(loss: Objective, at: NDArray[np.float64], step: float = 1e-5) -> NDArray[np.float64]:
    """Second derivatives by central differences of the gradient."""
    steps = step * np.eye(at.size)
    hessian = np.array([(loss(at + move)[1] - loss(at - move)[1]) / (2.0 * step) for move in steps])
    return np.asarray((hessian + hessian.T) / 2.0, dtype=np.float64)


def _covariance(hessian: NDArray[np.float64], held: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Inverse curvature over the parameters that the data hold, nan elsewhere and where there is no peak."""
    covariance = np.full(hessian.shape, np.nan)
    core = hessian[np.ix_(held, held)]
    if core.size and np.all(np.linalg.eigvalsh(core) > 0):
        covariance[np.ix_(held, held)] = np.linalg.inv(core)
    return covariance
