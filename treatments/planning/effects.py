"""How much of an object's expected loss a level of treatment takes away: the default shares, with their grounds.

The shares are our own judgement, not measurements; a department puts its own in their place. Expected loss comes from
joints that let go, so a level counts by how many of the failing joints it renews, and by what it leaves in them.
"""

from __future__ import annotations

from typing import NamedTuple


class Effect(NamedTuple):
    """Share of the expected loss removed, 0 to 1, and why so much."""

    share: float
    grounds: str


DEFAULTS = {
    "leave": Effect(0.0, "Nothing is done to any joint"),
    "watch": Effect(0.0, "Looking changes no joint; what it finds may change what is done"),
    "secure": Effect(0.5, "Failing edges are held, and the old adhesive stays in the joint: own judgement"),
    "rejoin_failing": Effect(0.8, "Failing joints are new; the others are of the same age and hand: own judgement"),
    "take_down_rejoin": Effect(0.95, "Every joint is new; handling and the new adhesive keep a rest: own judgement"),
    "make_good": Effect(0.97, "As taking down and rejoining; fills support edges a little: own judgement"),
}
UNKNOWN = Effect(0.5, "A level of the department's own for which nobody has set a share yet: taken as securing")
"""Stands in for a level with work of which nothing is said."""


def efficient(hours: dict[str, float], shares: dict[str, float]) -> list[str]:
    """Levels for which no other removes as much in as few hours; in the order given, ties to the first.

    Parameters
    ----------
    hours, shares : level to hours at the bench, and to the share of loss removed

    Raises
    ------
    ValueError
        A level with hours and without a share.
    """
    if missing := sorted(hours.keys() - shares.keys()):
        raise ValueError(f"shares has nothing for {missing[0]}")
    place = {name: at for at, name in enumerate(hours)}

    def beats(other: str, name: str) -> bool:
        theirs, own = (shares[other], -hours[other]), (shares[name], -hours[name])
        as_good = theirs[0] >= own[0] and theirs[1] >= own[1]
        return as_good and (theirs != own or place[other] < place[name])

    return [name for name in hours if not any(beats(other, name) for other in hours if other != name)]
