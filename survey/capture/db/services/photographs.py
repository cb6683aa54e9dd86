"""Photographs of tablets: their bytes in pieces by hash, and the assessments that name them."""

from __future__ import annotations

import fcntl
import hashlib
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from pathlib import Path
from typing import BinaryIO, ClassVar

from django.conf import settings
from django.db import transaction

from media.base.errors import FettleError
from media.base.models import User
from media.photographs.db.models import Photograph
from media.photographs.db.services import NotAPhotograph, receive
from survey.capture.db.models import Operation, PhotographWanted
from survey.condition.db.models import Assessment, ObjectPhotograph
from survey.condition.db.services.steps import Step

MOST_BYTES = 20 * 1024 * 1024
MOST_PIECE = 2 * 1024 * 1024


class WrongPiece(FettleError):
    """A piece that does not continue what is here; ``offset`` says where to go on."""

    status: ClassVar[int] = HTTPStatus.CONFLICT

    def __init__(self, message: str, offset: int) -> None:
        super().__init__(message)
        self.offset = offset


@dataclass(frozen=True)
class Stand:
    """How much of a photograph is here: bytes of an unfinished one, or all of it."""

    offset: int
    complete: bool


def want_photographs(row: Operation, assessment: Assessment, views: Mapping[str, str], *, by: User) -> None:
    """Note which photographs an assessment names, and attach those that are here already."""
    for name, view in views.items():
        PhotographWanted.objects.create(operation=row, sha256=name, view=view)
    for photograph in Photograph.objects.filter(pk__in=views):
        _attach(photograph, at=row.received_at)


def _attach(photograph: Photograph, *, at: datetime) -> None:
    rows = PhotographWanted.objects.select_for_update(of=("self",)).select_related("operation__assessment__object")
    for wanted in rows.filter(sha256=photograph.pk, attached_at=None).order_by("pk"):
        row, assessment = wanted.operation, wanted.operation.assessment
        if assessment is None:
            continue
        happened = row.happened_at or row.received_at
        kept = ObjectPhotograph(
            object=assessment.object, assessment=assessment, photograph=photograph, view=wanted.view, at=happened,
            by=row.made_by,
        )  # fmt: skip
        Step(assessment, row.made_by, happened).add(kept, "photograph")
        wanted.attached_at, wanted.refused = at, ""
        wanted.save(update_fields=["attached_at", "refused"])


def stand_of(sha256: str) -> Stand:
    """How much of a photograph is here."""
    photograph = Photograph.objects.filter(pk=sha256).first()
    if photograph:
        return Stand(photograph.size, complete=True)
    path = _path(sha256)
    return Stand(path.stat().st_size if path.exists() else 0, complete=False)


def take_piece(sha256: str, piece: bytes, *, offset: int, total: int, by: User, at: datetime) -> Stand:
    """Add a piece; with the last one the photograph is checked against its hash, kept and attached.

    Raises ``WrongPiece`` with the place to go on from, ``NotAPhotograph`` for what is whole but no photograph.
    """
    if not (0 < total <= MOST_BYTES and offset >= 0 and offset + len(piece) <= total):
        raise NotAPhotograph(f"A photograph has at most {MOST_BYTES // 1024**2} MB, and its pieces lie within it.")
    there = stand_of(sha256)
    if there.complete:
        return there
    with _open(sha256) as file:
        size = file.seek(0, os.SEEK_END)
        if size < total:
            if size != offset:
                raise WrongPiece(f"{size} bytes are here: go on from there.", size)
            # Not forced to disk: nothing is promised before the last piece, and what a power cut took of it shows in
            # its length or its hash. The whole photograph is forced to disk when it is kept.
            file.write(piece)
            file.flush()
            if offset + len(piece) < total:
                return Stand(offset + len(piece), complete=False)
        # Also what a server left that died between the last piece and the keeping: whatever piece asks, it is kept now.
        file.seek(0)
        data = file.read()
        if hashlib.sha256(data).hexdigest() != sha256:
            file.truncate(0)
            raise WrongPiece("The bytes do not have the hash that they were sent under: send them again.", 0)
        try:
            keep(data, by=by, at=at)
        finally:
            _path(sha256).unlink(missing_ok=True)
    return Stand(total, complete=True)


def keep(data: bytes, *, by: User, at: datetime) -> Photograph:
    """Keep a whole photograph and attach it wherever an assessment names it. Raises ``NotAPhotograph``."""
    try:
        photograph = receive(data, by=by, at=at)
    except NotAPhotograph as why:
        wanted = PhotographWanted.objects.filter(sha256=hashlib.sha256(data).hexdigest(), attached_at=None)
        wanted.update(refused=why.message[:300])
        raise
    with transaction.atomic():
        _attach(photograph, at=at)
    return photograph


def attach_waiting(*, at: datetime) -> None:
    """Attach photographs that came in the same moment as the operations that name them."""
    here = Photograph.objects.values("pk")
    with transaction.atomic():
        for name in PhotographWanted.objects.filter(attached_at=None, sha256__in=here).values_list("sha256", flat=True):
            _attach(Photograph.objects.get(pk=name), at=at)


def _path(sha256: str) -> Path:
    return Path(settings.UPLOADS) / "tablets" / f"{sha256}.part"


@contextmanager
def _open(sha256: str) -> Iterator[BinaryIO]:
    """The unfinished file, for one sender at a time; a second one is told to come again."""
    path = _path(sha256)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+b") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as busy:
            raise WrongPiece("Another sender is at work on this photograph.", path.stat().st_size) from busy
        yield file
