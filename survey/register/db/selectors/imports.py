"""Reading imports: the list, what one would do or did, and what to start its matching from."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.register.db.models import ImportRow, Object, RegisterImport, RegisterSource, Verdict
from survey.register.deciding import Snapshot
from survey.register.fields import FIELDS
from survey.register.matching import header_fingerprint

SAID = "register_said"
KEY = "number_key"
"""What a row keeps beside the values: the register's fingerprint, and the number's key where it differs."""
UNITS = {"length": " (mm)", "weight": " (kg)"}
VALUE_LABELS: Mapping[str, str] = {field.value: field.label + UNITS.get(field.kind, "") for field in FIELDS}
MODEL_NAMES: Mapping[str, str] = {field.value: field.value for field in FIELDS} | {"accession_number": "number"}
"""Names of the values that an import decides to the attributes of an object that hold them."""


@dataclass(frozen=True)
class Difference:
    """One field of a row as the preview shows it; ``was`` is empty for a new object."""

    label: str
    was: Any
    becomes: Any


@dataclass(frozen=True)
class RowLine:
    """A row of an import with what it does to an object, field by field."""

    row: ImportRow
    differences: list[Difference]


def the_import(pk: uuid.UUID) -> RegisterImport:
    """One import with its job and source. Raises ``NotThere``."""
    found = RegisterImport.objects.select_related("job", "source", "received_by").filter(pk=pk).first()
    if found is None:
        raise NotThere("This import does not exist any more. Look for it among the imports.")
    return found


def imports_page(*, after: str | None, size: int = 50) -> Page[RegisterImport]:
    """Imports, the latest first. One query."""
    found = RegisterImport.objects.select_related("source", "received_by")
    return keyset(found, order=["-received_at", "-id"], after=after, size=size)


def stored_file(sha256: str) -> Path:
    """Where the file with this content is kept."""
    return Path(settings.UPLOADS) / sha256


def remembered_source(header: tuple[str, ...]) -> RegisterSource | None:
    """The source whose files have these headings, the latest if there are several."""
    found = RegisterSource.objects.filter(fingerprint=header_fingerprint(header)).exclude(columns={})
    return found.order_by("-pk").first()


def rows_page(batch: RegisterImport, *, show: str, after: str | None, size: int = 50) -> Page[RowLine]:
    """Rows of one verdict, or those with a remark or kept by undoing, in order of the file. One query."""
    page = keyset(_shown(batch, show), order=["line"], after=after, size=size)
    return Page([RowLine(row, _differences(row)) for row in page.rows], page.next)


def _shown(batch: RegisterImport, show: str) -> QuerySet[ImportRow]:
    rows = batch.rows.all()
    if show == "remarks":
        return rows.filter(verdict__in=(Verdict.CREATE, Verdict.CHANGE, Verdict.SAME)).exclude(reason="")
    if show == "kept":
        return rows.exclude(kept="")
    return rows.filter(verdict=show)


def _differences(row: ImportRow) -> list[Difference]:
    known = [(name, value) for name, value in row.fields.items() if name in VALUE_LABELS]
    if row.verdict == Verdict.CHANGE:
        return [Difference(VALUE_LABELS[name], *value) for name, value in known]
    if row.verdict == Verdict.CREATE:
        return [Difference(VALUE_LABELS[name], None, value) for name, value in known if name != "accession_number"]
    return []


def applied_rows(batch: RegisterImport) -> QuerySet[ImportRow]:
    """Rows that make or change objects, in order of the file."""
    news = Q(verdict__in=(Verdict.CREATE, Verdict.CHANGE))
    return batch.rows.filter(news | (Q(verdict=Verdict.SAME) & ~Q(fields={}))).order_by("line")


class Register(Mapping[str, Snapshot]):
    """All objects as an import finds them, by the key of their number; values are laid out only for those asked for."""

    def __init__(self, names: list[str]) -> None:
        self.names = names
        attributes = [MODEL_NAMES[name] for name in names]
        found = Object.objects.order_by().values_list("number_key", "pk", "withdrawn_at", SAID, *attributes)
        self.rows: dict[str, tuple[Any, ...]] = {row[0]: row for row in found.iterator(chunk_size=5000)}

    def __getitem__(self, key: str) -> Snapshot:
        row = self.rows[key]
        return Snapshot(dict(zip(self.names, row[4:], strict=True)), row[3])

    def __contains__(self, key: object) -> bool:
        # Mapping's own asks for the value and waits for the error: too slow for every row of a new register.
        return key in self.rows

    def get(self, key: str, default: Any = None) -> Any:
        """The object, or ``default``: without the raising and catching of Mapping's own."""
        return self[key] if key in self.rows else default

    def __iter__(self) -> Iterator[str]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def key_of(self, number_key: str) -> uuid.UUID:
        """The object's own key."""
        found: uuid.UUID = self.rows[number_key][1]
        return found

    def has_left(self, number_key: str) -> bool:
        """Whether the object has left the register."""
        return self.rows[number_key][2] is not None
