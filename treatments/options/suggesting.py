"""A first suggestion of how far to treat an object; the conservator decides.

The rule is common practice, written down: what must not be lifted is secured or rejoined before anything else is asked
of it, what only looks bad waits, and nobody treats further than is asked because it can be done.
"""

from __future__ import annotations

from dataclasses import dataclass

LEVELS = ("leave", "watch", "secure", "rejoin_failing", "take_down_rejoin", "make_good")
"""Codes that a suggestion can name: a table of levels must hold them."""
HANDS_OFF = frozenset({"leave", "watch"})
"""Levels that put nothing on the object and take nothing off."""
FAILING_JOINT, FAILING_ADHESIVE = 3, 2
HALF = 0.5


@dataclass(frozen=True)
class Suggestion:
    """A level by its code, and why in words."""

    level: str
    why: str


def suggest(
    *, band: str, worst_stage: int | None, joints: int, failing: int, shown: bool, disfigured: bool = False
) -> Suggestion:
    """The level to begin a discussion with.

    Parameters
    ----------
    band : code of the urgent rules: do_not_lift, before_move, before_opening, monitor, not_seen, or empty
    worst_stage : 0 to 4 as last seen, None where nobody looked
    joints, failing : joints in place, and those at stage 2 or worse
    shown : whether the object goes on show
    disfigured : whether the old restoration draws the eye

    Raises
    ------
    ValueError
        Counts that cannot be, or a stage outside 0 to 4.
    """
    if not 0 <= failing <= joints:
        raise ValueError("failing must lie between 0 and joints")
    if worst_stage is not None and not 0 <= worst_stage <= 4:
        raise ValueError("worst_stage must lie between 0 and 4")
    if joints == 0:
        return Suggestion("leave", "No joint of an old restoration is recorded.")
    if worst_stage is None:
        return Suggestion("watch", "Nobody has looked at its joints yet: look before anything else.")
    if worst_stage >= FAILING_JOINT:
        return _failing(joints, max(failing, 1), shown and disfigured)
    if worst_stage >= FAILING_ADHESIVE:
        return Suggestion(
            "secure", f"The adhesive of {_of(max(failing, 1), joints)} is broken; every sherd still holds."
        )
    if band == "do_not_lift":
        return Suggestion("secure", "It must not be lifted, though every sherd still holds.")
    if shown:
        return Suggestion("watch", "Its joints hold: check and photograph them before it goes on show.")
    return Suggestion("leave", "Its joints hold and it is not moved.")


def _failing(joints: int, failing: int, disfigured: bool) -> Suggestion:
    """At least one joint moves or is open."""
    if failing <= HALF * joints:
        fails = "fails" if failing == 1 else "fail"
        return Suggestion("rejoin_failing", f"{failing} of {joints} joints {fails}; the others hold.")
    if disfigured:
        return Suggestion("make_good", "More than half of its joints fail, and the old restoration draws the eye.")
    if joints == 1:
        return Suggestion("take_down_rejoin", "Its only joint moves or is open.")
    return Suggestion("take_down_rejoin", f"{failing} of {joints} joints fail, at least one of them moving or open.")


def _of(failing: int, joints: int) -> str:
    return "its only joint" if joints == 1 else f"{failing} of {joints} joints"
