"""What in the record cannot be, in sentences; it is scored as it stands, and said."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from survey.condition import plausible
from survey.condition.db.models import Adhesive
from survey.condition.db.selectors import JointRow, VisitRow

SIZES = ("height_mm", "width_mm", "depth_mm", "diameter_mm")


def oddities(
    joints: Sequence[JointRow],
    objects: Mapping[UUID, Mapping[str, Any]],
    looks: Mapping[UUID, Sequence[VisitRow]],
    as_of: date,
) -> dict[UUID, list[str]]:
    """Sentences for each object; ``objects`` with their sizes, ``looks`` that gave a stage, oldest first."""
    found: dict[UUID, dict[str, None]] = defaultdict(dict)  # in order, each once
    for joint in joints:
        years = joint.year_earliest, joint.year_latest
        said = plausible.of_dates(*years, year=as_of.year)
        thing, seen = objects[joint.object_id], looks.get(joint.id, ())
        of_joint = [
            *(plausible.of_adhesive(joint.adhesive, Adhesive(joint.adhesive).label, *years) if joint.adhesive else ()),
            *plausible.of_sizes(joint.wall_mm, joint.lever_mm, [thing[name] for name in SIZES]),
            *_of_looks(seen, joint.year_earliest),
        ]
        for sentence in (*said, *(f"Joint {joint.label}: {each}" for each in of_joint)):
            found[joint.object_id][sentence] = None
    return {pk: list(sentences) for pk, sentences in found.items()}


def _of_looks(seen: Sequence[VisitRow], made: int | None) -> list[str]:
    staged = [(look.at.year, look.stage) for look in seen if look.stage is not None]
    return plausible.of_looks([year for year, _ in staged], [stage for _, stage in staged], made)
