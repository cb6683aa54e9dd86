"""Reading parameter sets: which is in force, what each changed, and what a draft would change."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count, Q

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.risk.db.models import ParameterDraft, ParameterSet, RiskRun
from survey.risk.entries import Entry, Value, entries

PREVIEW_JOB = "survey.risk.preview"


@dataclass(frozen=True)
class Difference:
    """One value that two sets do not share."""

    entry: Entry
    was: Value
    becomes: Value

    @property
    def was_shown(self) -> str:
        return self.entry.shown(self.was)

    @property
    def becomes_shown(self) -> str:
        return self.entry.shown(self.becomes)


@dataclass(frozen=True)
class SetLine:
    """A set as the history shows it: what it changed against the one before, and what it was used for."""

    set: ParameterSet
    changes: list[Difference]
    runs: int


def in_force() -> ParameterSet | None:
    """The set by which the next scoring is made; none before the first."""
    return ParameterSet.objects.select_related("adopted_by").order_by("-number").first()


def the_set(number: int) -> ParameterSet:
    """One set by its number. Raises ``NotThere``."""
    found = ParameterSet.objects.select_related("adopted_by").filter(number=number).first()
    if found is None:
        raise NotThere("There is no parameter set of this number. Choose one from the history.")
    return found


def the_draft(pk: uuid.UUID) -> ParameterDraft:
    """One draft. Raises ``NotThere``."""
    found = ParameterDraft.objects.select_related("base", "like", "job", "begun_by").filter(pk=pk).first()
    if found is None:
        raise NotThere("This draft has been put in force or thrown away. See the history of sets.")
    return found


def open_drafts() -> list[ParameterDraft]:
    """Drafts that nobody has put in force or thrown away, the latest first."""
    return list(ParameterDraft.objects.select_related("begun_by", "base").order_by("-begun_at")[:20])


def values_of(values: Mapping[str, object]) -> dict[str, Value]:
    """Every value of a set, what it does not name as shipped; names that are no longer known are passed over."""
    return {path: each.held(values[path]) if path in values else each.shipped for path, each in entries().items()}


def differences(was: Mapping[str, object], becomes: Mapping[str, object]) -> list[Difference]:
    """What differs between the values of two sets, in the order of the tables."""
    before, after = values_of(was), values_of(becomes)
    return [Difference(entries()[path], before[path], after[path]) for path in before if before[path] != after[path]]


def sets_page(*, after: str | None, size: int = 20) -> Page[SetLine]:
    """All sets, the newest first, each with what it changed. Two queries."""
    finished = Count("runs", filter=Q(runs__finished_at__isnull=False))
    found = ParameterSet.objects.select_related("adopted_by").annotate(run_count=finished)
    page = keyset(found, order=["-number"], after=after, size=size)
    numbers = [each.number - 1 for each in page.rows]
    before = dict(ParameterSet.objects.filter(number__in=numbers).values_list("number", "values"))
    lines = [
        SetLine(each, differences(before.get(each.number - 1, {}), each.values), getattr(each, "run_count", 0))
        for each in page.rows
    ]
    return Page(lines, page.next)


def before_set(found: ParameterSet) -> ParameterSet | None:
    """The set that was in force before one."""
    return ParameterSet.objects.filter(number__lt=found.number).order_by("-number").first()


def runs_with(found: ParameterSet, most: int = 10) -> list[RiskRun]:
    """The latest finished scorings that a set made."""
    return list(
        found.runs.filter(finished_at__isnull=False).select_related("exhibition").order_by("-finished_at")[:most]
    )
