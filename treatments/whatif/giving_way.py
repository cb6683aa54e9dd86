"""What is the least that must give way for a chance to be reached?

Each object has rungs, from one level lighter to leaving it out, each with a price. Rungs are taken in order of what
they bring for their price until the chance is reached, then given back one after another as long as it still is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

Evaluate = Callable[[Mapping[str, int]], float]
MOST_EVALUATIONS = 120


@dataclass(frozen=True)
class Rung:
    """One way in which an object can give way, in all: ``price`` of it, and what it brings towards the chance."""

    price: float
    gain: float


@dataclass(frozen=True)
class Found:
    """``given``: object to how many of its rungs are taken. ``reached``: whether the chance was.

    ``least``: nothing on the list can be taken back by itself; false where the search was cut short before it knew.
    """

    given: dict[str, int]
    chance: float
    reached: bool
    least: bool
    evaluations: int


class _Asked:
    """Chances asked for, each once."""

    def __init__(self, evaluate: Evaluate, progress: Callable[[int], None] | None) -> None:
        self.evaluate, self.progress = evaluate, progress
        self.known: dict[tuple[tuple[str, int], ...], float] = {}

    def __call__(self, given: Mapping[str, int]) -> float:
        key = tuple(sorted((name, count) for name, count in given.items() if count))
        if key not in self.known:
            self.known[key] = self.evaluate(dict(key))
            if self.progress:
                self.progress(len(self.known))
        return self.known[key]

    @property
    def over(self) -> bool:
        return len(self.known) >= MOST_EVALUATIONS


def least(
    rungs: Mapping[str, Sequence[Rung]],
    evaluate: Evaluate,
    target: float,
    *,
    progress: Callable[[int], None] | None = None,
) -> Found:
    """The cheapest list found with which ``evaluate`` reaches ``target``.

    Parameters
    ----------
    rungs : object to its rungs, price rising; an object without any cannot give way
    evaluate : chance, 0 to 1, when each named object gives way by so many rungs; more rungs should not lower it
    target : chance to reach, above 0 and below 1
    progress : called with the number of evaluations done; what it raises ends the search

    Raises
    ------
    ValueError
        A target out of range, or prices that do not rise.
    """
    if not 0 < target < 1:
        raise ValueError("target must lie above 0 and below 1")
    if any(b.price <= a.price for own in rungs.values() for a, b in pairwise(own)):
        raise ValueError("rungs of an object must rise in price")
    ask = _Asked(evaluate, progress)
    chance = ask({})
    if chance >= target:
        return Found({}, chance, True, True, len(ask.known))
    order = _order(rungs)
    everything = _taken(order)
    if (chance := ask(everything)) < target:
        return Found(everything, chance, False, False, len(ask.known))
    given = _shortest(order, ask, target)
    given, least_ = _given_back(given, rungs, ask, target)
    return Found(given, ask(given), True, least_, len(ask.known))


def _order(rungs: Mapping[str, Sequence[Rung]]) -> list[tuple[str, int]]:
    """All rungs, those first that bring most for their price, lower rungs of an object before higher ones."""
    rated = []
    for name, own in rungs.items():
        before, bound = Rung(0.0, 0.0), float("inf")
        for count, rung in enumerate(own, start=1):
            worth = (rung.gain - before.gain) / max(rung.price - before.price, 1e-9)
            bound, before = min(bound, worth), rung
            rated.append((-bound, count, name))
    return [(name, count) for _, count, name in sorted(rated)]


def _taken(order: Sequence[tuple[str, int]]) -> dict[str, int]:
    given: dict[str, int] = {}
    for name, count in order:
        given[name] = max(given.get(name, 0), count)
    return given


def _shortest(order: Sequence[tuple[str, int]], ask: _Asked, target: float) -> dict[str, int]:
    """The shortest beginning of the order with which the target is reached; all of it is known to reach it."""
    low, high = 0, len(order)
    while high - low > 1:
        middle = (low + high) // 2
        if ask(_taken(order[:middle])) >= target:
            high = middle
        else:
            low = middle
    return _taken(order[:high])


def _given_back(
    given: dict[str, int], rungs: Mapping[str, Sequence[Rung]], ask: _Asked, target: float
) -> tuple[dict[str, int], bool]:
    """Give rungs back, the dearest first, in blocks that are halved where a whole one cannot go back."""

    def price(name: str) -> float:
        count = given[name]
        return rungs[name][count - 1].price - (rungs[name][count - 2].price if count > 1 else 0.0)

    size = max(1, len(given) // 2)
    while True:
        names = sorted(given, key=lambda name: (-price(name), name))
        changed = False
        for first in range(0, len(names), size):
            if ask.over:
                return given, False
            block = [name for name in names[first : first + size] if name in given]
            tried = {name: count - (name in block) for name, count in given.items()}
            tried = {name: count for name, count in tried.items() if count}
            if ask(tried) >= target:
                given, changed = tried, True
        if not changed and size == 1:
            return given, True
        size = max(1, size // 2) if not changed else size
