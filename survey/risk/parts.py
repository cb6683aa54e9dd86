"""Joints in the order of objects and restorations, a thousand at a time: memory stays small however many there are."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from survey.risk.bonds import Bonds, Whole
from survey.risk.inputs import JointInputs

TOGETHER = 1024  # joints worked on at once, or one object if it has more: a few dozen megabytes


@dataclass(frozen=True)
class Part:
    """Objects ``begin`` to ``end``.

    ``rows`` [j] of the inputs; ``groups`` [r] their restorations; ``starts`` [r + 1] first joint of each; ``first``
    [n + 1] first restoration of each object; ``depends_on`` [j] within the part, -1 for none.
    """

    begin: int
    end: int
    rows: Whole
    groups: Whole
    starts: Whole
    first: Whole
    depends_on: Whole


@dataclass(frozen=True)
class Order:
    """All joints in order: as ``Part``, for all objects."""

    joints: Whole
    restorations: Whole
    starts: Whole
    first: Whole
    depends_on: Whole

    @classmethod
    def of(cls, inputs: JointInputs, bonds: Bonds) -> "Order":
        """By object, then restoration, then as given."""
        joints = np.lexsort((bonds.restoration, inputs.object_index))
        in_turn = bonds.restoration[joints]
        begins = np.flatnonzero(np.diff(in_turn, prepend=-1))
        first = np.searchsorted(inputs.object_index[joints[begins]], np.arange(inputs.object_count + 1))
        place = np.empty(joints.size + 1, dtype=np.int64)
        place[joints], place[-1] = np.arange(joints.size), -1
        starts = np.append(begins, joints.size)
        return cls(joints, in_turn[begins], starts, first, place[bonds.depends_on[joints]])

    def parts(self) -> Iterator[Part]:
        """Runs of whole objects."""
        ends = self.starts[self.first[1:]]
        begin = 0
        while begin < ends.size:
            low = self.starts[self.first[begin]]
            end = max(begin + 1, int(np.searchsorted(ends, low + TOGETHER, side="right")))
            yield self._part(begin, end)
            begin = end

    def _part(self, begin: int, end: int) -> Part:
        some = slice(self.first[begin], self.first[end])
        low, high = self.starts[some.start], self.starts[some.stop]
        carried = self.depends_on[low:high]
        return Part(
            begin, end, self.joints[low:high], self.restorations[some], self.starts[some.start : some.stop + 1] - low,
            self.first[begin : end + 1] - some.start, np.where(carried >= 0, carried - low, -1),
        )  # fmt: skip
