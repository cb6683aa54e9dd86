"""Taking photographs in: the original as it came, once, and its smaller copies."""

from __future__ import annotations

import os
import secrets
from datetime import datetime
from http import HTTPStatus
from pathlib import Path
from typing import BinaryIO, ClassVar

from django.db import transaction

from media.base import events
from media.base.errors import FettleError, NotThere
from media.base.models import User
from media.photographs.db.models import Photograph
from media.photographs.db.selectors import GONE, stored
from media.photographs.renditions import glance, render
from media.photographs.sniffing import PhotographRefused, read_bounded


class NotAPhotograph(FettleError):
    """A file that is not kept, and why."""

    status: ClassVar[int] = HTTPStatus.UNPROCESSABLE_ENTITY


def receive(file: bytes | BinaryIO, *, by: User | None, at: datetime) -> Photograph:
    """Keep a photograph; the same bytes a second time give the same row and write nothing.

    Of its copies only the smallest is made now: a day's photographs come within a minute, and each large copy takes
    as long as all else that is done here. It is made when somebody first looks. The files are on disk before the row
    is: what breaks off in between leaves a file that nobody names, never a row without its file. Raises
    ``NotAPhotograph`` with one line.
    """
    try:
        data = read_bounded(file)
        made = glance(data)
    except PhotographRefused as error:
        raise NotAPhotograph(str(error)) from error
    facts = made.facts
    row = Photograph(
        sha256=facts.sha256, kind=facts.kind, width=facts.width, height=facts.height, size=facts.size,
        taken_at=facts.taken_at, received_at=at, received_from=by,
    )  # fmt: skip
    _keep(stored(row, "original").path, data)
    _keep(stored(row, "thumb").path, made.small.content)
    with transaction.atomic():
        kept, new = Photograph.objects.get_or_create(
            sha256=row.sha256, defaults={field.attname: getattr(row, field.attname) for field in row._meta.fields}
        )
        if new:
            events.record(kept, "received", by=by, at=at, became={"kind": kept.kind, "size": kept.size})
    return kept


def make_renditions(photograph: Photograph) -> None:
    """Make the smaller copies, for the first time or again, from the original. Raises ``NotThere`` if that is lost."""
    try:
        made = render(stored(photograph, "original").path.read_bytes())
    except (FileNotFoundError, PhotographRefused) as error:
        raise NotThere(GONE) from error
    _keep(stored(photograph, "screen").path, made.large.content)
    _keep(stored(photograph, "thumb").path, made.small.content)


def _keep(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, and let a crash afterwards keep it."""
    if path.exists() and path.stat().st_size == len(content):
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(8)}")
    try:
        with temporary.open("xb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # the name itself must survive a power cut
    finally:
        os.close(folder)
