"""Where the lines of this room's own drawings fall; all in per cent of the plot's box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from media.base.drawing import Scale, Tick, nice_ticks


@dataclass(frozen=True)
class Gains:
    """What looking in this order gains by hours spent, against any other order (a straight line)."""

    line: str
    straight: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


def gains(curve: Sequence[Sequence[float]]) -> Gains | None:
    """The curve of a list of steps: hours and shares, rising. None where there is nothing to draw."""
    if len(curve) < 2 or curve[-1][0] <= 0:
        return None
    x, y = Scale(0, curve[-1][0]), Scale(0, 1, 100, 0)
    hours = [value for value in nice_ticks(0, curve[-1][0], most=6) if value <= curve[-1][0]]
    return Gains(
        line=path([(x.at(spent), y.at(share)) for spent, share in curve]),
        straight=path([(0.0, 100.0), (100.0, 0.0)]),
        across=tuple(Tick(x.at(value), f"{value:g} h", minor=place % 2 == 1) for place, value in enumerate(hours)),
        up=shares_up(),
    )


def shares_up() -> tuple[Tick, ...]:
    """Quarters of an upright axis from 0 to 100 %."""
    y = Scale(0, 1, 100, 0)
    return tuple(Tick(y.at(part / 4), f"{25 * part} %") for part in range(5))


def path(places: Sequence[tuple[float, float]]) -> str:
    """An SVG path through some places."""
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in places)
