"""A plan that is early on paper, so that it can be on time in truth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from treatments.planning.problem import WEEK
from treatments.planning.reading import entries

DATES = ("photo_by", "mount_by", "close_by")
MOST_WEEKS = 104.0


def with_buffer(instance: Mapping[str, Any], *, mandatory_weeks: float, other_weeks: float) -> dict[str, Any]:
    """The same instance with all dates brought forward, to be solved; forecast its plan against the true dates.

    A plan filled to the last hour is never wholly on time. Two to three weeks for the mandatory objects and less for
    the others keep most of the benefit.

    Parameters
    ----------
    mandatory_weeks, other_weeks : float, 0 to 104

    Raises
    ------
    ValueError
        Weeks out of range, or an instance whose objects are not a list.
    """
    for name, weeks in (("mandatory_weeks", mandatory_weeks), ("other_weeks", other_weeks)):
        if not 0 <= weeks <= MOST_WEEKS:
            raise ValueError(f"{name} must lie between 0 and {MOST_WEEKS:.0f}")
    objects = []
    for thing in entries(instance, "objects", "instance"):
        earlier = round((mandatory_weeks if thing.get("mandatory") else other_weeks) * WEEK)
        objects.append({**thing, **{key: thing[key] - earlier for key in DATES if thing.get(key) is not None}})
    return {**instance, "objects": objects}
