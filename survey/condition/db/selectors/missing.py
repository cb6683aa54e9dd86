"""What an open assessment does not say yet, in words."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from survey.condition import grades
from survey.condition.db.models import Answer, Assessment, Found
from survey.condition.db.selectors.assessments import RestorationSeen, ThingSeen, restorations_seen
from survey.condition.db.selectors.book import definitions


@dataclass(frozen=True)
class Missing:
    """One thing that keeps an assessment from being frozen, and the step (and part) where it is said."""

    words: str
    step: str
    kind: str = ""
    thing: UUID | None = None


def what_is_missing(assessment: Assessment, seen: list[RestorationSeen] | None = None) -> list[Missing]:
    """All that must still be said, or contradicts itself, in the order of the steps; empty when it can be frozen."""
    if assessment.found == Found.MISSING:
        return []
    if seen is None:
        seen = restorations_seen(assessment)
    found = []
    if assessment.found == Found.ELSEWHERE and not assessment.place_found_id:
        found.append(Missing("Say where the object was found.", "look"))
    if not assessment.old_restoration:
        found.append(Missing("Say whether there is old restoration.", "look"))
    found += _restoration(assessment, seen)
    found += [
        Missing(f"Grade {axis.name.lower()}, or say that it was not seen.", "grades")
        for axis in definitions(assessment.definitions).axes
        if not getattr(assessment, axis.code)
    ]
    if not assessment.handling:
        found.append(Missing("Say how the object may be handled.", "handling"))
    return found


def _restoration(assessment: Assessment, seen: list[RestorationSeen]) -> list[Missing]:
    things = [thing for each in seen for thing in each.things]
    if assessment.old_restoration == Answer.PRESENT:
        if not things:
            return [Missing("Record at least one joint, fill or area of overpaint of the old restoration.", "parts")]
        return [lack for thing in things for lack in _part(assessment, thing)]
    if assessment.old_restoration == Answer.NONE and things and not assessment.interpretation.strip():
        words = f"{len(things)} old joints, fills or areas of paint are" if len(things) > 1 else "One old part is"
        ask = "Look again, or say in the interpretation why they are not there."
        return [Missing(f"{words} on record, yet you say that there is no old restoration. {ask}", "look")]
    return []


def _part(assessment: Assessment, seen: ThingSeen) -> list[Missing]:
    name = f"{seen.thing.label} ({seen.thing.part})" if seen.thing.part else seen.thing.label

    def lack(words: str) -> list[Missing]:
        return [Missing(f"{name}: {words}", step=seen.kind, kind=seen.kind, thing=seen.thing.pk)]

    if not seen.told and seen.kind == "joint":
        return lack("give its stage, or say that it was not seen.")
    if not seen.told:
        return lack("say which signs it shows, or none.")
    least = contradiction(assessment, seen)
    if least is None or seen.stage is None:
        return []
    stages = definitions(assessment.definitions).stages
    given, implied = stages[seen.stage].name.lower(), stages[least].name.lower()
    return lack(f"its signs mean at least “{implied}”, but its stage is “{given}”. Change one.")


def contradiction(assessment: Assessment, seen: ThingSeen) -> int | None:
    """The least stage that the signs of a joint imply, where its stage is below that."""
    if seen.kind != "joint" or seen.stage is None:
        return None
    signs = [(sign.code, sign.extent_percent) for sign in seen.present]
    least = grades.least_stage(definitions(assessment.definitions), signs)
    return least if seen.stage < least else None
