"""Rows for tests, with only what a test is about written out."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import Any

from media.base.models import Role, User
from survey.models import (
    Assessment,
    ChecklistEntry,
    Exhibition,
    Joint,
    JointSeen,
    Milestone,
    Object,
    Place,
    Restoration,
    SurveyRound,
)

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_number = count(1)


def a_person(*, role: str = Role.CONSERVATOR, **fields: Any) -> User:
    return User.objects.create(**{"username": f"person{next(_number)}", "role": role} | fields)


def a_place(*, kind: str = "shelf", parent: Place | None = None, **fields: Any) -> Place:
    n = next(_number)
    name = fields.pop("name", f"Shelf {n}")
    path = f"{parent.path if parent else ''}{n:05d}."
    full_name = f"{parent.full_name} · {name}" if parent else name
    return Place.objects.create(
        kind=kind, parent=parent, name=name, position=n, path=path, full_name=full_name, **fields
    )


def an_object(*, joints: int = 0, part: str = "foot", **fields: Any) -> Object:
    n = next(_number)
    number = fields.pop("number", f"K {n:05d}")
    made = Object.objects.create(**{"number": number, "number_key": number, "simple_name": "jar"} | fields)
    if joints:
        restoration = Restoration.objects.create(object=made)
        Joint.objects.bulk_create(
            Joint(restoration=restoration, label=f"J{i + 1}", part=part, length_mm=80) for i in range(joints)
        )
    return made


def an_exhibition(*, opening: date = date(2026, 6, 8), **fields: Any) -> Exhibition:
    made = Exhibition.objects.create(**{"name": f"Exhibition {next(_number)}"} | fields)
    days = {"photography": -42, "mount_making": -21, "case_closing": -7, "opening": 0, "end": 120}
    Milestone.objects.bulk_create(
        Milestone(exhibition=made, kind=kind, date=opening + timedelta(days=n)) for kind, n in days.items()
    )
    return made


def an_entry(exhibition: Exhibition, an_object: Object, **fields: Any) -> ChecklistEntry:
    return ChecklistEntry.objects.create(exhibition=exhibition, object=an_object, **fields)


def a_round(**fields: Any) -> SurveyRound:
    return SurveyRound.objects.create(
        **{"name": f"Round {next(_number)}", "started_on": date(2026, 2, 1), "definitions": 1} | fields
    )


def an_assessment(an_object: Object, *, finished: bool = True, stages: dict[Joint, int] | None = None, **fields: Any):
    """An assessment of an object; ``stages`` says what was seen of which joint."""
    values = {"surveyor": None, "definitions": 1, "started_at": NOW, "finished_at": NOW if finished else None} | fields
    values["surveyor"] = values["surveyor"] or a_person(role=Role.SURVEYOR)
    made = Assessment.objects.create(object=an_object, **values)
    JointSeen.objects.bulk_create(
        JointSeen(assessment=made, joint=joint, stage=stage) for joint, stage in (stages or {}).items()
    )
    return made
