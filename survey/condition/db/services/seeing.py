"""What is seen of joints, fills and overpaint in an open assessment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from media.base.errors import FettleError
from media.base.models import User
from media.photographs.db.models import Photograph
from survey.condition import grades
from survey.condition.db.models import (
    AdhesiveEvidence,
    Answer,
    Assessment,
    Basis,
    Joint,
    JointSeen,
    ObjectPhotograph,
    Sign,
)
from survey.condition.db.selectors.book import definitions
from survey.condition.db.services.steps import Step, Thing, held, kind_of

VOCABULARY = {"joint": "joint", "fill": "fill", "overpaint": "paint"}
SEEN_WORDS = {"not_seen": "not seen", "not_known": "not known"}


@dataclass(frozen=True)
class Seen:
    """A sign as answered: present, none, not_seen or not_known; extent in percent only of what is present."""

    answer: str
    extent_percent: int | None = None


@transaction.atomic
def see_joint(
    assessment: Assessment,
    joint: Joint,
    *,
    stage: int | None,
    answer: str = "seen",
    signs: Mapping[str, Seen] | None = None,
    by: User | None,
    at: datetime,
) -> None:
    """Say how a joint looks: its stage, or that it was not seen or is not known. ``signs`` replace all its signs."""
    assessment = held(assessment)
    _belongs(joint, assessment)
    if answer not in {"seen", *SEEN_WORDS}:
        raise FettleError("Say whether the joint was seen, was not seen, or cannot be judged.")
    if (stage is None) == (answer == "seen") or stage not in (None, *range(grades.STAGE_COUNT)):
        raise FettleError("Give a stage from sound to open, or say that the joint was not seen or is not known.")
    state = state_of(assessment, joint)
    became = {**state, "stage": stage, "answer": answer}
    if signs is not None:
        became["signs"] = [_checked(assessment, joint, code, seen) for code, seen in sorted(signs.items())]
    words = SEEN_WORDS.get(answer) or definitions(assessment.definitions).stages[stage or 0].name.lower()
    _write(Step(assessment, by, at), joint, state, became, f"{joint.label}: {words}")


@transaction.atomic
def note_sign(
    assessment: Assessment, thing: Thing, code: str, seen: Seen | None, *, by: User | None, at: datetime
) -> None:
    """Answer one sign of a joint, fill or overpaint; None takes the answer away.

    A joint without a stage is given the least stage that its signs imply; a stage that a person gave stays theirs.
    """
    note_signs(assessment, thing, {code: seen}, by=by, at=at)


@transaction.atomic
def note_signs(
    assessment: Assessment, thing: Thing, signs: Mapping[str, Seen | None], *, by: User | None, at: datetime
) -> None:
    """Answer several signs in one step, as ``note_sign`` does each."""
    assessment = held(assessment)
    _belongs(thing, assessment)
    state = state_of(assessment, thing)
    kept = {row[0]: row for row in state["signs"] if row[0] not in signs}
    for code, seen in signs.items():
        if seen is not None:
            kept[code] = _checked(assessment, thing, code, seen)
    became = {**state, "signs": [kept[code] for code in sorted(kept)]}
    if isinstance(thing, Joint) and state["answer"] is None:
        present = [(row[0], row[2]) for row in became["signs"] if row[1] == Answer.PRESENT]
        if present:
            least = grades.least_stage(definitions(assessment.definitions), present)
            became |= {"stage": least, "answer": "seen"}
    _write(Step(assessment, by, at), thing, state, became, f"{thing.label}: {_sign_words(assessment, thing, signs)}")


def _sign_words(assessment: Assessment, thing: Thing, signs: Mapping[str, Seen | None]) -> str:
    if len(signs) > 1:
        return f"{len(signs)} signs"
    code, seen = next(iter(signs.items()))
    name = definitions(assessment.definitions).sign(VOCABULARY[kind_of(thing)], code).name.lower()
    return f"{name} {Answer(seen.answer).label.lower() if seen else 'not answered'}"


def _checked(assessment: Assessment, thing: Thing, code: str, seen: Seen) -> list[Any]:
    """A sign as it is written: code, answer, extent."""
    try:
        definitions(assessment.definitions).sign(VOCABULARY[kind_of(thing)], code)
    except ValueError as error:
        raise FettleError(f"“{code}” is not one of the signs of this survey: choose one from the list.") from error
    if seen.answer not in Answer.values:
        raise FettleError("Say whether the sign is present, none, not seen or not known.")
    if seen.extent_percent is not None and (seen.answer != Answer.PRESENT or not 0 < seen.extent_percent <= 100):
        raise FettleError("How far a sign runs is 1 to 100 percent, and only of a sign that is present.")
    return [code, seen.answer, seen.extent_percent]


def _belongs(thing: Thing, assessment: Assessment) -> None:
    if thing.restoration.object_id != assessment.object_id:
        raise FettleError("This is part of another object: go back to its own page.")


def state_of(assessment: Assessment, thing: Thing) -> dict[str, Any]:
    """What an assessment says of one thing: stage and answer (None: nothing yet), and its signs."""
    name = kind_of(thing)
    seen = None
    if isinstance(thing, Joint):
        seen = JointSeen.objects.filter(assessment=assessment, joint=thing).first()
    signs = Sign.objects.filter(assessment=assessment, **{name: thing}).order_by("code")
    return {
        "stage": seen.stage if seen else None,
        "answer": seen.answer if seen else None,
        "signs": [list(row) for row in signs.values_list("code", "answer", "extent_percent")],
    }


def _write(step: Step, thing: Thing, state: dict[str, Any], became: dict[str, Any], words: str) -> None:
    if state == became:
        return
    set_state(step.assessment, thing, became)
    step.note("saw", thing, was=state, became=became, words=words)


def set_state(assessment: Assessment, thing: Thing, state: Mapping[str, Any]) -> None:
    """Make an assessment say exactly this of a thing."""
    name = kind_of(thing)
    if isinstance(thing, Joint):
        if state["answer"] is None:
            JointSeen.objects.filter(assessment=assessment, joint=thing).delete()
        else:
            values = {"stage": state["stage"], "answer": state["answer"]}
            JointSeen.objects.update_or_create(assessment=assessment, joint=thing, defaults=values)
    Sign.objects.filter(assessment=assessment, **{name: thing}).delete()
    Sign.objects.bulk_create(
        Sign(assessment=assessment, code=code, answer=answer, extent_percent=extent, **{name: thing})
        for code, answer, extent in state["signs"]
    )


@transaction.atomic
def add_evidence(
    assessment: Assessment, joint: Joint, *, basis: str, finding: str, note: str = "", by: User | None, at: datetime
) -> AdhesiveEvidence:
    """Keep one finding about a joint's adhesive. What it is taken to mean is the joint's adhesive, said apart."""
    assessment = held(assessment)
    _belongs(joint, assessment)
    try:
        term = definitions(assessment.definitions).finding(basis, finding)
    except ValueError as error:
        raise FettleError("Choose what was found from the list for that way of looking.") from error
    row = AdhesiveEvidence(joint=joint, basis=basis, finding=finding, note=note.strip()[:300], at=at, by=by)
    Step(assessment, by, at).add(row, f"{joint.label}: {Basis(basis).label.lower()}, {term.name.lower()}")
    return row


@transaction.atomic
def attach_photograph(
    assessment: Assessment, photograph: Photograph, *, view: str = "", by: User | None, at: datetime
) -> ObjectPhotograph:
    """Keep a photograph with an assessment; the same one twice is kept once."""
    assessment = held(assessment)
    there = ObjectPhotograph.objects.filter(assessment=assessment, photograph=photograph).first()
    if there:
        return there
    row = ObjectPhotograph(
        object=assessment.object, assessment=assessment, photograph=photograph, view=view.strip()[:40], at=at, by=by
    )
    Step(assessment, by, at).add(row, "photograph")
    return row
