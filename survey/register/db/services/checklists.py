"""Putting objects on a checklist, changing and removing them; singly or from a curator's list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from media.base import bulk, events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.checklist import Line, near_numbers, read_checklist
from survey.register.db.models import ChecklistEntry, Exhibition, Object, Use
from survey.register.db.selectors.objects import same_number
from survey.register.deciding import number_key
from survey.register.table import plain

SAID = ("section", "use", "need_by", "importance")
USES: dict[str, str] = {
    **{plain(use.value.replace("_", " ")): use.value for use in Use},
    **{plain(use.label): use.value for use in Use},
    "mount": Use.OPEN_MOUNT,
    "open": Use.OPEN_MOUNT,
    "open display": Use.OPEN_MOUNT,
    "showcase": Use.CASE,
    "handling": Use.HANDLED,
    "travel": Use.TRAVELS,
    "travelling": Use.TRAVELS,
    "loan": Use.TRAVELS,
}


@dataclass(frozen=True)
class Planned:
    """What one line of a list would do. ``did``: new, back, changed, same, unmatched or refused."""

    line: Line
    did: str
    object: Object | None = None
    near: Sequence[str] = ()
    reason: str = ""

    @property
    def use_word(self) -> str:
        """The use that the line names, in words."""
        return str(Use(self.line.use).label) if self.line.use else ""


@transaction.atomic
def add_entry(
    exhibition: Exhibition, number: str, *, said: Mapping[str, Any], by: User | None, at: datetime
) -> ChecklistEntry:
    """Put an object on a checklist by its number. One that was taken off comes back with what is said now."""
    _open(Exhibition.objects.select_for_update().get(pk=exhibition.pk))
    thing = same_number(number)
    if thing is None:
        near = near_numbers(number_key(number), _all_keys())
        meant = f" Did you mean {' or '.join(near)}?" if near else " Look for it in the register."
        raise FettleError(f"No object has the number {number.strip()[:80]}.{meant}")
    if thing.withdrawn_at:
        raise FettleError(f"{thing.number} has left the register: take it back there first.")
    entry = ChecklistEntry.objects.select_for_update().filter(exhibition=exhibition, object=thing).first()
    if entry and entry.removed_at is None:
        raise Clash(f"{thing.number} is on the checklist already.")
    entry = entry or ChecklistEntry(exhibition=exhibition, object=thing)
    for name, value in said.items():
        setattr(entry, name, value)
    entry.removed_at = None
    entry.save()
    _record(entry, "put on the checklist", by=by, at=at, became=_said(entry))
    return entry


@transaction.atomic
def edit_entry(entry: ChecklistEntry, said: Mapping[str, Any], *, by: User | None, at: datetime) -> ChecklistEntry:
    """Change section, use, need-by date or importance of an entry."""
    entry = _held(entry)
    was = _said(entry)
    for name, value in said.items():
        setattr(entry, name, value)
    became = _said(entry)
    changed = [name for name in SAID if was[name] != became[name]]
    if changed:
        entry.save(update_fields=changed)
        _record(
            entry, "changed on the checklist", by=by, at=at,
            was={name: was[name] for name in changed}, became={name: became[name] for name in changed},
        )  # fmt: skip
    return entry


@transaction.atomic
def remove_entry(entry: ChecklistEntry, *, by: User | None, at: datetime) -> ChecklistEntry:
    """Take an object off a checklist; the row stays with its date of going."""
    entry = _held(entry)
    if entry.removed_at:
        raise Clash(f"{entry.object.number} has been taken off the checklist already.")
    entry.removed_at = at
    entry.save(update_fields=["removed_at"])
    _record(entry, "taken off the checklist", by=by, at=at, was=_said(entry))
    return entry


@transaction.atomic
def restore_entry(entry: ChecklistEntry, *, by: User | None, at: datetime) -> ChecklistEntry:
    """Put an object back on a checklist as it stood there."""
    entry = _held(entry)
    if entry.removed_at is None:
        raise Clash(f"{entry.object.number} is on the checklist already.")
    if entry.object.withdrawn_at:
        raise Clash(f"{entry.object.number} has left the register: take it back there first.")
    entry.removed_at = None
    entry.save(update_fields=["removed_at"])
    _record(entry, "put back on the checklist", by=by, at=at, became=_said(entry))
    return entry


def plan_list(exhibition: Exhibition, text: str) -> list[Planned]:
    """What a curator's list would do, line by line. Writes nothing; ``FettleError`` if the list cannot be read."""
    try:
        lines = read_checklist(text, USES)
    except ValueError as error:
        raise FettleError(str(error)) from error
    things: dict[str, Object] = {}
    keys = [line.key for line in lines if line.key]
    for start in range(0, len(keys), 500):
        found = Object.objects.filter(number_key__in=keys[start : start + 500])
        things.update({thing.number_key: thing for thing in found})
    entries = {entry.object_id: entry for entry in exhibition.entries.all()}
    known = _all_keys() if any(line.key not in things for line in lines) else []
    return [_planned(line, things.get(line.key), entries, known) for line in lines]


def _planned(line: Line, thing: Object | None, entries: Mapping[Any, ChecklistEntry], known: Sequence[str]) -> Planned:
    if line.problem:
        return Planned(line, "refused", thing, reason=line.problem)
    if thing is None:
        return Planned(line, "unmatched", near=near_numbers(line.key, known))
    if thing.withdrawn_at:
        return Planned(line, "refused", thing, reason="this object has left the register")
    entry = entries.get(thing.pk)
    if entry is None or entry.removed_at:
        return Planned(line, "back" if entry else "new", thing)
    differs = [name for name, value in _given(line).items() if getattr(entry, name) != value]
    return Planned(line, "changed" if differs else "same", thing)


@transaction.atomic
def apply_list(exhibition: Exhibition, text: str, *, by: User | None, at: datetime) -> dict[str, int]:
    """Carry a list out as `plan_list` sees it now; returns how many lines did what."""
    _open(Exhibition.objects.select_for_update().get(pk=exhibition.pk))
    planned = plan_list(exhibition, text)
    entries = {entry.object_id: entry for entry in exhibition.entries.all()}
    new: list[ChecklistEntry] = []
    old: list[ChecklistEntry] = []
    changes: list[tuple[ChecklistEntry, str, dict[str, Any] | None]] = []
    for each in planned:
        if each.object is None or each.did not in {"new", "back", "changed"}:
            continue
        entry = entries.get(each.object.pk) or ChecklistEntry(exhibition=exhibition, object=each.object)
        was = None if each.did != "changed" else _said(entry)
        for name, value in _given(each.line).items():
            setattr(entry, name, value)
        entry.removed_at = None
        (new if each.did == "new" else old).append(entry)
        changes.append((entry, "changed on the checklist" if was else "put on the checklist", was))
    bulk.insert(ChecklistEntry, new, leave_out=("id",))
    ChecklistEntry.objects.bulk_update(old, [*SAID, "removed_at"], batch_size=300)
    ids = dict(exhibition.entries.values_list("object_id", "pk"))
    for entry, _, _ in changes:
        entry.pk = ids[entry.object_id]
    events.record_many(
        (events.Change(e, verb, was, _said(e), thread=str(e.object_id)) for e, verb, was in changes), by=by, at=at
    )
    counts = dict.fromkeys(("new", "back", "changed", "same", "unmatched", "refused"), 0)
    for each in planned:
        counts[each.did] += 1
    return counts


def _given(line: Line) -> dict[str, Any]:
    """What a line says; an empty cell says nothing."""
    values = {name: getattr(line, name) for name in SAID}
    return {name: value for name, value in values.items() if value not in (None, "")}


def _all_keys() -> list[str]:
    """Every number of the register, in Python's order (the database's may differ)."""
    return sorted(Object.objects.filter(withdrawn_at=None).values_list("number_key", flat=True))


def _held(entry: ChecklistEntry) -> ChecklistEntry:
    held = (
        ChecklistEntry.objects.select_for_update(of=("self",)).select_related("object", "exhibition").get(pk=entry.pk)
    )
    _open(held.exhibition)
    return held


def _open(exhibition: Exhibition) -> None:
    if exhibition.closed_at:
        raise Clash("This exhibition is closed: open it again before changing its checklist.")


def _said(entry: ChecklistEntry) -> dict[str, str | int | date | None]:
    return {name: getattr(entry, name) for name in SAID}


def _record(
    entry: ChecklistEntry,
    verb: str,
    *,
    by: User | None,
    at: datetime,
    was: Mapping[str, Any] | None = None,
    became: Mapping[str, Any] | None = None,
) -> None:
    note = entry.exhibition.name
    events.record(entry, verb, by=by, at=at, was=was, became=became, thread=str(entry.object_id), note=note)
