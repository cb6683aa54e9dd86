"""Long work of the register: looking a file through, bringing it in, sorting objects into places, undoing."""

from __future__ import annotations

import uuid

from django.utils import timezone

from media.base.jobs import Work, job
from survey.register.db.selectors.imports import the_import
from survey.register.db.selectors.placing import the_sorting
from survey.register.db.services import bringing_in, imports, looking, placing, undoing, unplacing


@job(imports.LOOK)
def look_through(work: Work, *, batch: str) -> None:
    """Decide every row of a file; writes nothing to the register."""
    looking.look_through(work, the_import(uuid.UUID(batch)))


@job(imports.BRING_IN)
def bring_in(work: Work, *, batch: str) -> None:
    """Write what was looked through."""
    bringing_in.bring_in(work, the_import(uuid.UUID(batch)), by=work.row.asked_by, at=timezone.now())


@job(imports.UNDO)
def undo_import(work: Work, *, batch: str) -> None:
    """Put the register back as it was before an import."""
    undoing.undo_import(work, the_import(uuid.UUID(batch)), by=work.row.asked_by, at=timezone.now())


@job(placing.PLACE)
def place_by_words(work: Work, *, sorting: str) -> None:
    """Put objects where the register says."""
    placing.place_by_words(work, the_sorting(uuid.UUID(sorting)), by=work.row.asked_by, at=timezone.now())


@job(placing.UNDO)
def undo_placing(work: Work, *, sorting: str) -> None:
    """Take a sorting back."""
    unplacing.undo_placing(work, the_sorting(uuid.UUID(sorting)), by=work.row.asked_by, at=timezone.now())
