"""Edits of one field by people who may not know of each other: which stand, and whether they disagree."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from survey.capture.operations import canonical


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit; ``after`` are the edits that its author knew of. ``device`` and ``sequence`` are None at a desk."""

    id: str
    value: Any
    after: frozenset[str]
    device: str | None = None
    sequence: int | None = None


def standing(edits: Collection[Edit]) -> list[Edit]:
    """The edits that none came after, in the order given.

    Of one device the later edit stands, whether or not it names the earlier: its author saw it. The result does not
    depend on the order in which the edits arrived, but for its own order.
    """
    overtaken = {known for edit in edits for known in edit.after}
    last: dict[str, int] = {}
    for edit in edits:
        if edit.device is not None and edit.sequence is not None:
            last[edit.device] = max(last.get(edit.device, 0), edit.sequence)
    return [
        edit
        for edit in edits
        if edit.id not in overtaken and (edit.device is None or edit.sequence == last.get(edit.device))
    ]


def sides(edits: Sequence[Edit]) -> list[Edit]:
    """One standing edit for each different value, the latest to arrive of each; more than one is a disagreement."""
    by_value: dict[str, Edit] = {}
    for edit in standing(edits):
        by_value.pop(canonical(edit.value), None)
        by_value[canonical(edit.value)] = edit
    return list(by_value.values())
