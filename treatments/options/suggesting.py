"""A first suggestion of how far to treat an object; the conservator decides.

The rule is common practice, written down: what must not be lifted is secured or rejoined before anything else is asked
of it, what only looks bad waits, and nobody treats further than is asked because it can be done.
"""

from __future__ import annotations

from dataclasses import dataclass

OPEN, FAILING_JOINT, FAILING_ADHESIVE = 4, 3, 2
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
    """
    if joints == 0:
        return Suggestion("leave", "No joint of an old restoration is recorded.")
    if worst_stage is None:
        return Suggestion("watch", "Nobody has looked at its joints yet: look before anything else.")
    if failing > HALF * joints and worst_stage >= FAILING_JOINT:
        if shown and disfigured:
            return Suggestion("make_good", "More than half of its joints fail, and the old restoration draws the eye.")
        return Suggestion(
            "take_down_rejoin", f"{failing} of {joints} joints fail, at least one of them moving or open."
        )
    if worst_stage >= FAILING_JOINT:
        return Suggestion("rejoin_failing", f"{failing} of {joints} joints fail; the others hold.")
    if band == "do_not_lift" or worst_stage >= FAILING_ADHESIVE:
        return Suggestion("secure", "The adhesive lifts or is brittle, and every sherd still holds.")
    if shown:
        return Suggestion("watch", "Its joints are tight: check and photograph them before it goes on show.")
    return Suggestion("leave", "Its joints are tight and it is not moved.")
