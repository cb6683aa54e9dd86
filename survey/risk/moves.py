"""Planned moves of an object before each milestone of an exhibition, by how it is to be shown.

Counts are expert defaults from common practice: each station of the way means lifting the object from where it stands.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from survey.risk.load import MOVES

STATIONS = ("photography", "mount_making", "case_closing", "opening")

# Use -> station -> kind of move -> times
PLANNED: Mapping[str, Mapping[str, Mapping[str, int]]] = {
    "case": {
        "photography": {"lift": 1, "photograph": 1},
        "mount_making": {"lift": 1},
        "case_closing": {"lift": 1},
    },
    "open_mount": {
        "photography": {"lift": 1, "photograph": 1},
        "mount_making": {"lift": 1, "mount": 1},
        "case_closing": {"lift": 1, "mount": 1},
    },
    "handled": {
        "photography": {"lift": 1, "photograph": 1},
        "mount_making": {"lift": 1},
        "case_closing": {"lift": 3},
    },
    "travels": {
        "photography": {"lift": 1, "photograph": 1},
        "mount_making": {"lift": 1, "mount": 1},
        "case_closing": {"lift": 2, "travel": 1},
    },
}


def planned_moves(use: str, milestones: Sequence[str]) -> NDArray[np.float64]:
    """Moves [m, k] made before each milestone, in the order of ``load.MOVES``; none for an object that is not used.

    Parameters
    ----------
    use : str, a key of ``PLANNED``, or empty
    milestones : sequence of str, kinds in the order of time

    Raises
    ------
    ValueError
        A use that is not planned for.

    Examples
    --------
    >>> planned_moves("case", ["photography", "opening"]).tolist()
    [[1.0, 1.0, 0.0, 0.0], [3.0, 1.0, 0.0, 0.0]]
    """
    counts = np.zeros((len(milestones), len(MOVES)))
    if not use:
        return counts
    if use not in PLANNED:
        raise ValueError(f"use must be one of {', '.join(PLANNED)}, not {use!r}")
    for station, moves in PLANNED[use].items():
        # What a milestone asks for is done by then; a milestone without stations only follows the others.
        after = [i for i, kind in enumerate(milestones) if _turn(kind) >= _turn(station)]
        for kind, times in moves.items():
            counts[after, MOVES.index(kind)] += times
    return counts


def _turn(kind: str) -> int:
    return STATIONS.index(kind) if kind in STATIONS else len(STATIONS)
