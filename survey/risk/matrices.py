"""Transition probabilities of continuous-time Markov chains, many at once, without loss of small probabilities."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

_FIRST_STEP = 2.0**-6  # largest exit rate times step before squaring
_TERMS = 7  # (2 ** -6) ** 8 / 8! < 1e-19
_MOST_SQUARINGS = 62  # 2 ** 56 stays within the elapsed time: faster is at once
_CHUNK = 2048  # chains worked on together: their matrices stay in the processor's cache


def transition_matrix(rates: ArrayLike, elapsed: ArrayLike) -> NDArray[np.float64]:
    r"""Transition probabilities of a progressive chain 0 -> 1 -> ... -> k whose last state is absorbing.

    .. math:: P(t) = e^{Qt}, \quad q_{i,i+1} = r_i, \quad q_{ii} = -r_i

    Parameters
    ----------
    rates : array_like [..., k], 1/time, >= 0; equal, near-equal and zero rates are fine
    elapsed : array_like, time, >= 0, broadcast against the leading axes of ``rates``

    Returns
    -------
    ndarray [..., k+1, k+1]
        Rows sum to 1; small probabilities keep their relative accuracy.

    Raises
    ------
    ValueError
        A negative, infinite or missing argument, named.

    Notes
    -----
    Source: D. R. Cox and H. D. Miller, The Theory of Stochastic Processes (1965), chapter 4 (from memory).
    The textbook sum of exponentials divides by differences of rates and loses all digits when two are near each
    other. Here a short step is squared: every term is non-negative and the diagonal is known exactly, so that
    nothing cancels, whatever the rates.

    Examples
    --------
    >>> transition_matrix([0.1, 0.1], 10.0)[0, 2].round(6)
    np.float64(0.264241)
    """
    speeds = _checked("rates", rates)
    spans = _checked("elapsed", elapsed)
    if speeds.ndim == 0 or speeds.shape[-1] == 0:
        raise ValueError("rates must have at least one rate on its last axis")
    try:
        passed = speeds * spans[..., None]
    except ValueError as error:
        raise ValueError("elapsed must broadcast against the leading axes of rates") from error
    count = speeds.shape[-1]
    flat = np.minimum(passed.reshape(-1, count), _FIRST_STEP * 2.0**_MOST_SQUARINGS)
    result = np.zeros((flat.shape[0], count + 1, count + 1))
    for start in range(0, flat.shape[0], _CHUNK):
        part = slice(start, start + _CHUNK)
        result[part] = np.moveaxis(_chain_exponential(np.ascontiguousarray(flat[part].T)), -1, 0)
    return result.reshape(*passed.shape[:-1], count + 1, count + 1)


def intensity_transition_matrix(Q: ArrayLike, elapsed: ArrayLike) -> NDArray[np.float64]:
    r"""Transition probabilities :math:`e^{Qt}` of any generator.

    Parameters
    ----------
    Q : array_like [..., n, n], 1/time
        Off the diagonal >= 0; rows sum to zero.
    elapsed : array_like, time, >= 0, broadcast against the leading axes of ``Q``

    Returns
    -------
    ndarray [..., n, n]
        Rows sum to 1, entries in [0, 1].

    Raises
    ------
    ValueError
        Not a generator, or a negative, infinite or missing time, named.

    Notes
    -----
    Uniformisation for a short first step, then repeated squaring with rows brought back to a sum of 1.
    Every term is non-negative, so nothing cancels. Source: W. J. Stewart, Introduction to the Numerical Solution
    of Markov Chains (1994), chapter 8 (from memory).
    """
    generator = np.asarray(Q, dtype=np.float64)
    if generator.ndim < 2 or generator.shape[-1] != generator.shape[-2] or generator.shape[-1] == 0:
        raise ValueError("Q must be square on its last two axes")
    if not np.all(np.isfinite(generator)):
        raise ValueError("Q must be finite")
    moving = _without_diagonal(generator)
    if np.any(moving < 0):
        raise ValueError("Q must not be negative off its diagonal")
    exits = moving.sum(axis=-1)
    scale = np.maximum(exits, np.abs(np.diagonal(generator, axis1=-2, axis2=-1)))
    if np.any(np.abs(generator.sum(axis=-1)) > 1e-8 * np.maximum(scale, 1e-300)):
        raise ValueError("Q must have rows that sum to zero")
    return _exponential(generator, _checked("elapsed", elapsed))


def progressive_generator(rates: NDArray[np.float64]) -> NDArray[np.float64]:
    """Generator [..., k+1, k+1] of the chain that passes on at ``rates`` [..., k] and stays in its last state."""
    count = rates.shape[-1]
    generator = np.zeros((*rates.shape[:-1], count + 1, count + 1))
    here = np.arange(count)
    generator[..., here, here + 1] = rates
    generator[..., here, here] = -rates
    return generator


def _chain_exponential(passed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrices [k+1, k+1, n] of chains whose rates times elapsed are ``passed`` [k, n]; the chains run last."""
    squarings = _squarings(float(passed.max(initial=0.0)))
    leaving = np.vstack([passed, np.zeros((1, passed.shape[1]))])  # the last state is never left
    count = passed.shape[0]
    matrix = _chain_first_step(leaving / 2.0**squarings)
    for left in range(squarings - 1, -1, -1):
        squared = np.zeros_like(matrix)
        for row in range(count + 1):
            squared[row, row] = np.exp(-leaving[row] / 2.0**left)
            for column in range(row + 1, count + 1):
                between = slice(row, column + 1)
                squared[row, column] = np.einsum("mn,mn->n", matrix[row, between], matrix[between, column])
        matrix = squared
    return matrix / matrix.sum(axis=1, keepdims=True)


def _chain_first_step(leaving: NDArray[np.float64]) -> NDArray[np.float64]:
    """As ``_first_step``, for a chain with small rates ``leaving`` [k+1, n], where each state meets only the next."""
    states = leaving.shape[0]
    spare = leaving.max(axis=0) - leaving
    total = np.zeros((states, states, leaving.shape[1]))
    diagonal = np.arange(states)
    total[diagonal, diagonal] = 1.0
    for term in range(_TERMS, 0, -1):
        following = np.concatenate([total[1:], np.zeros_like(total[:1])])
        total = (spare[:, None] * total + leaving[:, None] * following) / term
        total[diagonal, diagonal] += 1.0
    return total / total.sum(axis=1, keepdims=True)


def _squarings(fastest: float) -> int:
    """How often a step is halved so that the fastest exit becomes a short first step."""
    return max(0, int(np.ceil(np.log2(fastest / _FIRST_STEP)))) if fastest > 0 else 0


def _exponential(generator: NDArray[np.float64], elapsed: NDArray[np.float64]) -> NDArray[np.float64]:
    """exp(generator * elapsed) for checked input, broadcast over leading axes."""
    try:
        step = _without_diagonal(generator) * elapsed[..., None, None]
    except ValueError as error:
        raise ValueError("elapsed must broadcast against the leading axes of the chains") from error
    step = np.minimum(step, _FIRST_STEP * 2.0**_MOST_SQUARINGS)
    exits = step.sum(axis=-1)
    squarings = _squarings(float(exits.max(initial=0.0)))
    probabilities = _first_step(step / 2.0**squarings)
    for _ in range(squarings):
        probabilities = _rows_to_one(probabilities @ probabilities)
    return probabilities


def _first_step(moving: NDArray[np.float64]) -> NDArray[np.float64]:
    """exp of a generator with small exit rates, given off its diagonal: a Poisson number of jumps, by Horner's rule."""
    exits = moving.sum(axis=-1)
    most = exits.max(axis=-1)
    identity = np.eye(moving.shape[-1])
    jumps = moving + (most[..., None] - exits)[..., None] * identity  # uniformised jump matrix times its rate
    total = np.broadcast_to(identity, jumps.shape)
    for term in range(_TERMS, 0, -1):
        total = identity + (jumps / term) @ total
    return _rows_to_one(total)


def _rows_to_one(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Keeps rounding from growing with each squaring: stays follow from the moves."""
    return matrix / matrix.sum(axis=-1, keepdims=True)


def _without_diagonal(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Copy with zeros on the diagonal of the last two axes."""
    return matrix * (1.0 - np.eye(matrix.shape[-1]))


def _checked(name: str, values: ArrayLike) -> NDArray[np.float64]:
    """Finite numbers of zero or more, or ValueError naming the argument."""
    numbers = np.asarray(values, dtype=np.float64)
    if not np.all(np.isfinite(numbers)) or np.any(numbers < 0):
        raise ValueError(f"{name} must be finite and not negative")
    return numbers
