"""One draw of one object: adhesive, pace, handling and stages drawn from what is known of it, compiled.

Random numbers are a function of the seed, the object's key and the number of the draw alone, so an object gets the same
draws in whatever batch, order or process it is scored.
"""

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled
from survey.risk.bonds import Floats, Whole
from survey.risk.carrying import carry
from survey.risk.holding import between, spot
from survey.risk.pace import read, spread_out
from survey.risk.passing import look_back

Keys = NDArray[np.uint64]

# Constants of the splitmix64 generator: Steele, Lea and Flood, OOPSLA 2014 (from memory).
_STEP, _ONE, _TWO = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31, _S11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)
_UNIT = 2.0**-53


@compiled
def _uniform(state: Keys) -> float:
    """The next number between 0 and 1."""
    state[0] += _STEP
    z = state[0]
    z = (z ^ (z >> _S30)) * _ONE
    z = (z ^ (z >> _S27)) * _TWO
    z = z ^ (z >> _S31)
    return float(z >> _S11) * _UNIT


@compiled
def _scrambled(key: np.uint64) -> np.uint64:
    """A key spread over all its bits."""
    z = key + _STEP
    z = (z ^ (z >> _S30)) * _ONE
    z = (z ^ (z >> _S27)) * _TWO
    return z ^ (z >> _S31)


@compiled
def _pick(weights: Floats, at: float) -> int:
    """Which of some weights lies at the share ``at`` of their sum."""
    total = 0.0
    for value in weights:
        total += value
    reached = at * total
    for index in range(weights.size):
        reached -= weights[index]
        if reached < 0.0 and weights[index] > 0.0:
            return index
    best = 0
    for index in range(weights.size):
        if weights[index] > weights[best]:
            best = index
    return best


@compiled
def draw_objects(
    keys: Keys, seed: np.uint64, first: Whole, starts: Whole, rows: Whole, restorations: Floats, habits: Whole,
    workshop: Whole, upward: Floats, prior: Floats, share: float, follows: Floats,
    otherwise: Floats, log_speed: Floats, log_strength: Floats, paces: Floats, tables: Whole, frailty: float,
    handling: float, quantiles: Floats, table_first: int, logs: Floats, looked: NDArray[np.bool_], own: Floats,
    log_load: Floats, log_share: Floats, lists: Whole, hold_first: Floats, hold_step: Floats, points: Floats,
    age: Floats, ago: Floats, seen: Whole, ahead: Floats, rates: Floats, step: float, digits: Floats,
    error: Floats, any_age: Floats, age_trust: float, pace_weights: Floats, state: Keys, weights: Floats,
    chances: Floats, belief: Floats, found: NDArray[np.float32],
) -> None:  # fmt: skip
    """Fill ``found`` [n, d] with the chance of each object in each draw, given what that draw takes for true.

    ``habits`` [d, w] of workshops in each draw; ``workshop`` [r] -1 where ``restorations`` [r, c] are to be used.
    ``log_speed``, ``log_strength`` [d, c], ``paces`` [d], ``tables`` [d] are what a draw holds for all objects;
    ``quantiles`` [q] of a standard normal at equal steps; ``ahead`` [j] equivalent years to the milestone.
    """
    classes, cells = restorations.shape[1], pace_weights.size
    for n in range(keys.size):
        for d in range(paces.size):
            state[0] = _scrambled(keys[n] ^ _scrambled(seed + np.uint64(d)))
            handled = handling * quantiles[int(_uniform(state) * quantiles.size)]
            table = tables[d]
            all_hold = 1.0
            for r in range(first[n], first[n + 1]):
                for c in range(classes):
                    chances[2, c] = restorations[r, c]
                    if workshop[r] >= 0:
                        habit = share if habits[d, workshop[r]] == c else 0.0
                        chances[2, c] = (habit + (1.0 - share) * prior[c]) * upward[r, c]
                spread_out(
                    starts[r], starts[r + 1], chances[2, :classes], pace_weights, log_speed[d], chances[1, :cells],
                    paces[d], own, follows, otherwise, table_first, logs, looked, weights, chances[0],
                )  # fmt: skip
                cell = _pick(weights.reshape(weights.size), _uniform(state))
                of, place = cell // cells, cell % cells
                at = (place + _uniform(state)) / cells
                pace = paces[d] + frailty * quantiles[int(at * quantiles.size)]
                for j in range(starts[r], starts[r + 1]):
                    for c in range(classes):
                        chances[0, c] = otherwise[j, c] * (1.0 - follows[j, of])
                        if c == of:
                            chances[0, c] += follows[j, of]
                        if looked[j]:
                            chances[0, c] *= np.exp(read(logs[j], log_speed[d, c] + pace + own[j], table_first))
                    kind = _pick(chances[0], _uniform(state))
                    clock = np.exp(log_speed[d, kind] + pace + own[j])
                    row = rows[j]
                    look_back(
                        belief, age[row], ago[row], seen[row], clock, rates, step, digits, error, any_age, age_trust
                    )
                    stage = _pick(belief, _uniform(state))
                    for s in range(belief.size):
                        belief[s] = 1.0 if s == stage else 0.0
                    carry(belief, ahead[row] * clock, rates, step, digits)
                    holds = 0.0
                    for s in range(4):
                        at = log_load[row] - log_strength[d, kind] - log_share[s] + handled
                        left, t = spot(at, hold_first[table], hold_step[table], points.shape[1])
                        holds += belief[s] * (1.0 - between(points[table], left, t, lists[row]))
                    all_hold *= holds
            found[n, d] = 1.0 - min(max(all_hold, 0.0), 1.0)
