"""One touch in an open assessment is one step: written with what it changed, so that it can be taken back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import models

from media.base import events
from media.base.errors import Clash
from media.base.models import User
from survey.condition.db.models import (
    AdhesiveEvidence,
    Assessment,
    Fill,
    Joint,
    ObjectPhotograph,
    Overpaint,
    Restoration,
)

Thing = Joint | Fill | Overpaint
ROWS: dict[str, type[models.Model]] = {
    "assessment": Assessment,
    "restoration": Restoration,
    "joint": Joint,
    "fill": Fill,
    "overpaint": Overpaint,
    "evidence": AdhesiveEvidence,
    "photograph": ObjectPhotograph,
}
NAMES = {model: name for name, model in ROWS.items()}


def held(assessment: Assessment) -> Assessment:
    """The assessment as it stands now, locked for this transaction. Raises ``Clash`` once it is frozen or gone."""
    now = Assessment.objects.select_for_update(of=("self",)).select_related("object").filter(pk=assessment.pk).first()
    if now is None:
        raise Clash("This assessment was discarded, so nothing was written. Begin again from the shelf.")
    if now.finished_at:
        raise Clash("This assessment is frozen. To change what it says, correct it: that makes a new one.")
    return now


def kind_of(thing: Thing) -> str:
    return NAMES[type(thing)]


@dataclass
class Step:
    """All that one touch changes in an assessment; several rows may share one step."""

    assessment: Assessment
    by: User | None
    at: datetime
    id: str = field(default_factory=lambda: uuid.uuid4().hex)

    def add(self, row: models.Model, words: str) -> None:
        """Insert a row."""
        row.save(force_insert=True)
        self.note("added", row, was=None, became=snapshot(row), words=words)

    def change(self, row: models.Model, values: Mapping[str, Any], words: str) -> bool:
        """Change some fields of a row; whether anything differed."""
        was = {name: getattr(row, name) for name in values}
        differing = {name: value for name, value in values.items() if was[name] != value}
        if not differing:
            return False
        for name, value in differing.items():
            setattr(row, name, value)
        row.save(update_fields=[_column(row, name) for name in differing])
        self.note("answered", row, was={name: was[name] for name in differing}, became=differing, words=words)
        return True

    def remove(self, row: models.Model, words: str) -> None:
        """Delete a row, which can be put back from the step."""
        self.note("removed", row, was=snapshot(row), became=None, words=words)
        row.delete()

    def note(self, verb: str, row: models.Model, *, was: Any, became: Any, words: str) -> None:
        """Write the event of this step."""
        name = NAMES[type(row)]
        events.record(
            self.assessment, verb, by=self.by, at=self.at, thread=str(self.assessment.object_id), note=words,
            was={"fields": was}, became={"step": self.id, "what": name, "id": str(row.pk), "fields": became},
        )  # fmt: skip


def _column(row: models.Model, name: str) -> str:
    return str(next(field.name for field in row._meta.concrete_fields if name in (field.name, field.attname)))


def snapshot(row: models.Model) -> dict[str, Any]:
    """All columns of a row."""
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
