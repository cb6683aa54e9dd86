"""A chain of stages carried forward by any time, for millions of joints: the time's digits pick ready-made matrices.

All joints of one belief share the rates of leaving the stages; what differs is how far their clocks run. So the
transition matrices of a short step, of 256 short steps, of 256 times 256 ... are made once, a time is read off as
digits to the base 256, and what is left of it is less than a short step: a few terms of a series that are all positive.
Nothing is subtracted, so small chances keep their digits.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from media.compiled import compiled
from survey.risk.matrices import transition_matrix

STATES = 5  # the kernels are compiled for the stages of a joint: sound to open
BASE = 256
_MASK, _SHIFT = np.uint64(BASE - 1), np.uint64(8)
_TERMS = 7  # fastest rate times what is left of a time is below 1/256: the next term is below 1e-23
_INVERSE = 1.0 / np.arange(1.0, _TERMS + 1.0)
_LEVELS = 6

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ChainTable:
    """Matrices of a chain with ``rates`` [4] at digits of time.

    ``step`` equivalent years; ``digits`` [level, 256, 5, 5], the matrix after ``digit * 256**level`` steps.
    """

    rates: NDArray[np.float64]
    step: float
    digits: NDArray[np.float64]

    @classmethod
    def of(cls, rates: ArrayLike, longest: float) -> "ChainTable":
        """For times up to ``longest`` equivalent years; ValueError unless there is one rate for each stage but open."""
        speeds = np.asarray(rates, dtype=np.float64)
        if speeds.shape != (STATES - 1,) or not np.all(np.isfinite(speeds)) or np.any(speeds < 0):
            raise ValueError(f"rates must be {STATES - 1} finite numbers, not negative")
        if not (np.isfinite(longest) and longest >= 0):
            raise ValueError("longest must be finite and not negative")
        step = 1.0 / (BASE * speeds.max()) if speeds.max() > 0 else max(longest, 1.0)
        steps = min(longest / step + 1.0, float(BASE) ** _LEVELS)
        levels = max(1, int(np.ceil(np.log(steps) / np.log(BASE))) if steps > 1 else 1)
        return cls(speeds, step, _digits(speeds.tobytes(), step, levels))


@lru_cache(maxsize=64)
def _digits(rates: bytes, step: float, levels: int) -> NDArray[np.float64]:
    """Matrices of a table; the batches of a run ask for the same few, over and over."""
    units = step * float(BASE) ** np.arange(levels)
    return transition_matrix(np.frombuffer(rates), units[:, None] * np.arange(BASE))


def carried_by_table(belief: ArrayLike, table: ChainTable, elapsed: ArrayLike) -> NDArray[np.float64]:
    """Belief over the stages [j, 5] after ``elapsed`` equivalent years [j].

    ValueError for shapes that do not fit, or a time that is negative or not finite.
    """
    start = np.array(belief, dtype=np.float64)
    times = np.asarray(elapsed, dtype=np.float64)
    if start.ndim != 2 or start.shape[1] != STATES or times.shape != start.shape[:1]:
        raise ValueError(f"belief must be [j, {STATES}] and elapsed [j]")
    if not np.all(np.isfinite(times)) or np.any(times < 0):
        raise ValueError("elapsed must be finite and not negative")
    _carry_all(start, times, table.rates, table.step, table.digits)
    return start


@compiled
def carry(belief: Floats, elapsed: float, rates: Floats, step: float, digits: Floats) -> None:
    """Carry one belief [5] forward in place; its sum stays what it was. Unrolled: twice as fast."""
    a, b, c, d, e = belief[0], belief[1], belief[2], belief[3], belief[4]
    before = a + b + c + d + e
    whole = min(np.floor(elapsed / step), float(BASE) ** digits.shape[0] - 1.0)
    left = min(max(elapsed - whole * step, 0.0), step)
    number = np.uint64(whole)
    for level in range(digits.shape[0]):
        digit = number & _MASK
        number >>= _SHIFT
        if digit:
            to = digits[level, digit]
            e += a * to[0, 4] + b * to[1, 4] + c * to[2, 4] + d * to[3, 4]
            d = a * to[0, 3] + b * to[1, 3] + c * to[2, 3] + d * to[3, 3]
            c = a * to[0, 2] + b * to[1, 2] + c * to[2, 2]
            b = a * to[0, 1] + b * to[1, 1]
            a *= to[0, 0]
    # The rest by uniformisation, a Poisson number of jumps.
    q0, q1, q2, q3 = rates[0] * left, rates[1] * left, rates[2] * left, rates[3] * left
    fastest = max(max(q0, q1), max(q2, q3))
    stay0, stay1, stay2, stay3 = fastest - q0, fastest - q1, fastest - q2, fastest - q3
    sum_a, sum_b, sum_c, sum_d, sum_e = a, b, c, d, e
    for term in range(_TERMS):
        share = _INVERSE[term]
        e = (e * fastest + d * q3) * share
        d = (d * stay3 + c * q2) * share
        c = (c * stay2 + b * q1) * share
        b = (b * stay1 + a * q0) * share
        a *= stay0 * share
        sum_a, sum_b, sum_c, sum_d, sum_e = sum_a + a, sum_b + b, sum_c + c, sum_d + d, sum_e + e
    after = sum_a + sum_b + sum_c + sum_d + sum_e
    scale = before / after if after > 0.0 else 1.0
    belief[0], belief[1], belief[2] = sum_a * scale, sum_b * scale, sum_c * scale
    belief[3], belief[4] = sum_d * scale, sum_e * scale


@compiled
def _carry_all(beliefs: Floats, elapsed: Floats, rates: Floats, step: float, digits: Floats) -> None:
    for row in range(elapsed.size):
        carry(beliefs[row], elapsed[row], rates, step, digits)
