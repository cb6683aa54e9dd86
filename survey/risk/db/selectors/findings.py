"""What was found out about the adhesive of each joint, as the likelihood table names it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.condition.db.models import Restoration
from survey.condition.db.selectors import EvidenceRow, JointRow, JointStates
from survey.risk.identification import UNKNOWN, LikelihoodTable

Floats = NDArray[np.float64]
PERIOD_YEARS = 20  # of one habit of a workshop (expert default)
Shop = tuple[UUID, int | None]  # a workshop and the number of its period; None where no date is known


def found_on(states: JointStates, table: LikelihoodTable, warnings: dict[UUID, list[str]]) -> list[dict[str, str]]:
    """Kind of evidence to outcome for each joint; of several findings of a kind the newest counts.

    What the table does not know is left out, and said in ``warnings`` of the object.
    """
    evidence: dict[UUID, dict[str, str]] = defaultdict(dict)
    for row in states.evidence:
        kind, outcome = _kind(row)
        evidence[row.joint_id][kind] = outcome
    given = []
    for joint in states.joints:
        seen = {**_claimed(joint), **evidence.get(joint.id, {})}
        for kind, outcome in list(seen.items()):
            if kind not in table.kinds or (outcome != UNKNOWN and outcome not in table.kinds[kind].outcomes):
                warnings[joint.object_id].append(
                    f"A finding on joint {joint.label} is of no known kind and was left out."
                )
                del seen[kind]
        given.append(seen)
    return given


def _kind(row: EvidenceRow) -> tuple[str, str]:
    """Kind of evidence and outcome, as the likelihood table names them."""
    if row.basis == "date":
        return "guess", row.finding
    if row.basis == "spot_test":
        test, _, outcome = row.finding.partition("_")
        return f"{test}_test" if test in {"nitrate", "protein"} else "nitrate_test", outcome
    return row.basis, row.finding


def _claimed(joint: JointRow) -> dict[str, str]:
    """What a recorded adhesive weighs when the finding behind it was not written down."""
    if not joint.adhesive:
        return {}
    if joint.basis in {"record", "ftir"}:
        return {joint.basis: joint.adhesive}
    if joint.basis == "spot_test" and joint.adhesive == "cellulose_nitrate":
        return {"nitrate_test": "deep_blue"}
    if joint.basis == "spot_test" and joint.adhesive == "animal_glue":
        return {"protein_test": "positive"}
    return {"guess": joint.adhesive}


def ordered(dates: Floats) -> Floats:
    """Earliest and latest year; one known year stands for both, a swapped pair is put right."""
    filled = np.where(np.isnan(dates), dates[:, ::-1], dates)
    return np.sort(filled, axis=1)


def years_of(joints: Sequence[JointRow]) -> Floats:
    """Earliest and latest year [i, 2] of the restoration of each; nan where not known."""
    years = [[joint.year_earliest, joint.year_latest] for joint in joints]
    return ordered(np.array([[np.nan if y is None else y for y in pair] for pair in years], dtype=float).reshape(-1, 2))


def shops_of(joints: Sequence[JointRow], years: Floats) -> list[Shop | None]:
    """Workshop and period of the restoration of each, from its ``years`` [i, 2]; None where nobody knows whose it is.

    A period is that of the middle of the years; work without a date is a group of its own.
    """
    middle = years.mean(axis=1) if years.size else np.zeros(0)
    return [
        (joint.workshop_id, None if np.isnan(year) else period_of(year)) if joint.workshop_id else None
        for joint, year in zip(joints, middle, strict=True)
    ]


def period_of(year: float) -> int:
    """The number of the period that a year lies in."""
    return int(year // PERIOD_YEARS)


def shop_key(shop: Shop) -> int:
    """What names a workshop and period for good, 64 bits."""
    period = 0 if shop[1] is None else shop[1] + 1
    return (shop[0].int ^ (period * 0x9E3779B97F4A7C15)) & 0xFFFFFFFFFFFFFFFF


def object_key(pk: UUID) -> int:
    """What names an object for good in the draws, 64 bits."""
    return pk.int & 0xFFFFFFFFFFFFFFFF


def objects_of(shops: Collection[Shop]) -> list[UUID]:
    """Objects with joints in place that some workshops joined in some periods."""
    wanted = set(shops)
    rows = Restoration.objects.filter(
        workshop__in={workshop for workshop, _ in wanted}, joints__ended_at=None, joints__isnull=False,
        object__withdrawn_at=None,
    ).distinct()  # fmt: skip
    found = set()
    for pk, workshop, *years in rows.values_list("object_id", "workshop_id", "year_earliest", "year_latest"):
        known = [year for year in years if year is not None]
        if (workshop, period_of(sum(known) / len(known)) if known else None) in wanted:
            found.add(pk)
    return sorted(found)
