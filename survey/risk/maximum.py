"""Maximum of a log-likelihood whose gradient is known, with the covariance that its curvature gives."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Objective = Callable[[NDArray[np.float64]], tuple[float, NDArray[np.float64]]]


@dataclass(frozen=True)
class Maximum:
    """Where a log-likelihood is largest.

    ``covariance`` is nan for parameters that ran to the end of their range (the data would have them go on for ever)
    and throughout where the curvature is not that of a peak.
    """

    at: NDArray[np.float64]
    value: float
    covariance: NDArray[np.float64]
    inside: NDArray[np.bool_]
    converged: bool


def maximise(objective: Objective, start: NDArray[np.float64], *, reach: float = 25.0) -> Maximum:
    """Climb from ``start`` by a quasi-Newton method within ``reach`` of it, then by Newton steps to the top."""

    def loss(at: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        value, gradient = objective(at)
        return -value, -gradient

    bounds = [(value - reach, value + reach) for value in start]
    found = minimize(loss, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 500, "ftol": 1e-13})
    at = np.asarray(found.x, dtype=np.float64)
    inside = np.abs(at - start) < reach - 1.0
    at = _newton(loss, at, inside)
    value, gradient = loss(at)
    flat = np.max(np.abs(gradient[inside]), initial=0.0) < 1e-4 * max(1.0, abs(value))
    return Maximum(at, -value, _covariance(_curvature(loss, at), inside), inside, bool(flat))


def _newton(loss: Objective, at: NDArray[np.float64], inside: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Newton steps among the parameters inside their range, as long as they do not make it worse."""
    value = loss(at)[0]
    for _ in range(20):
        core = _curvature(loss, at)[np.ix_(inside, inside)]
        try:
            step = np.linalg.solve(core, loss(at)[1][inside])
        except np.linalg.LinAlgError:
            return at
        trial = at.copy()
        trial[inside] -= step
        after = loss(trial)[0]
        if not after <= value:
            return at
        at, value = trial, after
        if np.max(np.abs(step), initial=0.0) < 1e-9:
            return at
    return at


def _curvature(loss: Objective, at: NDArray[np.float64], step: float = 1e-5) -> NDArray[np.float64]:
    """Second derivatives by central differences of the gradient."""
    steps = step * np.eye(at.size)
    hessian = np.array([(loss(at + move)[1] - loss(at - move)[1]) / (2.0 * step) for move in steps])
    return np.asarray((hessian + hessian.T) / 2.0, dtype=np.float64)


def _covariance(hessian: NDArray[np.float64], inside: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Inverse curvature over the parameters inside their range, nan elsewhere and where there is no peak."""
    covariance = np.full(hessian.shape, np.nan)
    core = hessian[np.ix_(inside, inside)]
    if core.size and np.all(np.linalg.eigvalsh(core) > 0):
        covariance[np.ix_(inside, inside)] = np.linalg.inv(core)
    return covariance
