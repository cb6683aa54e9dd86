"""Changing what scoring assumes: a draft, what it would do, then a new numbered set. No set is ever changed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.db.models import Max

from media.base import events, jobs
from media.base.errors import Clash, FettleError
from media.base.models import JobState, User
from survey.risk.db.models import ParameterDraft, ParameterSet
from survey.risk.db.selectors.parameters import PREVIEW_JOB, differences
from survey.risk.db.services.scoring import ensure_parameters
from survey.risk.parameters import differing

LONGEST_REASON = 2_000


@transaction.atomic
def begin_draft(
    values: Mapping[str, object], *, by: User | None, at: datetime, like: ParameterSet | None = None
) -> ParameterDraft:
    """Start a draft with these values, and have it tried out. ``like`` names the older set that it equals."""
    base = ensure_parameters(at=at)
    draft = ParameterDraft(base=base, values=_checked(values), like=like, begun_at=at, begun_by=by)
    _refuse_unchanged(draft)
    draft.save(force_insert=True)
    events.record(draft, "begun", by=by, at=at, became={"values": draft.values, "like": like.number if like else None})
    return _try_out(draft, by=by)


@transaction.atomic
def change_draft(
    draft: ParameterDraft, values: Mapping[str, object], *, by: User | None, at: datetime
) -> ParameterDraft:
    """Give a draft other values, and have it tried out again."""
    draft = _held(draft)
    was, draft.values, draft.like = draft.values, _checked(values), None
    _refuse_unchanged(draft)
    draft.save(update_fields=["values", "like"])
    events.record(draft, "changed", by=by, at=at, was={"values": was}, became={"values": draft.values})
    return _try_out(draft, by=by)


@transaction.atomic
def try_again(draft: ParameterDraft, *, by: User | None, at: datetime) -> ParameterDraft:
    """Work out anew what a draft does, against the set that is in force now."""
    draft = _held(draft)
    draft.base = ensure_parameters(at=at)
    _refuse_unchanged(draft)
    draft.save(update_fields=["base"])
    return _try_out(draft, by=by)


@transaction.atomic
def put_in_force(draft: ParameterDraft, *, name: str, reason: str, by: User | None, at: datetime) -> ParameterSet:
    """Make a draft the newest set. Its effect must have been worked out, and nothing newer may have come between."""
    draft = _held(draft)
    name, reason = " ".join(name.split()), reason.strip()
    if not name or len(name) > 120:
        raise FettleError("Give the set a name of at most 120 characters.")
    if not reason or len(reason) > LONGEST_REASON:
        raise FettleError(f"Say why, in at most {LONGEST_REASON} characters: later readers of a score will ask.")
    newest = ensure_parameters(at=at)
    if draft.base_id != newest.pk:
        raise Clash(f"Set {newest} came into force meanwhile. Work out again what this draft does, then decide.")
    if draft.effect is None:
        raise Clash("What this draft does to the ranking is not worked out yet: wait for it, then decide.")
    number = (ParameterSet.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    made = ParameterSet.objects.create(
        number=number, name=name, values=draft.values, reason=reason, adopted_at=at, adopted_by=by
    )
    was = {each.entry.path: each.was for each in differences(newest.values, draft.values)}
    became = {each.entry.path: each.becomes for each in differences(newest.values, draft.values)}
    events.record(made, "put in force", by=by, at=at, was=was, became=became, note=reason)
    _end(draft)
    return made


@transaction.atomic
def throw_away(draft: ParameterDraft, *, by: User | None, at: datetime) -> None:
    """Drop a draft; what is in force stays."""
    draft = _held(draft)
    events.record(draft, "thrown away", by=by, at=at, was={"values": draft.values})
    _end(draft)


def _checked(values: Mapping[str, object]) -> dict[str, object]:
    try:
        return dict(differing(values))
    except ValueError as error:
        raise FettleError(f"{error}.") from error


def _refuse_unchanged(draft: ParameterDraft) -> None:
    if not differences(draft.base.values, draft.values):
        raise FettleError("Nothing differs from the set in force, so there is nothing to try out.")


def _try_out(draft: ParameterDraft, *, by: User | None) -> ParameterDraft:
    """Have the effect worked out; an older working-out that still goes on is stopped."""
    _stop(draft)
    draft.effect = None
    draft.job = jobs.enqueue(PREVIEW_JOB, by=by, title="Trying out the changed values", draft=str(draft.pk))
    draft.save(update_fields=["effect", "job"])
    return draft


def _stop(draft: ParameterDraft) -> None:
    if draft.job and draft.job.state in {JobState.QUEUED, JobState.RUNNING}:
        jobs.cancel(draft.job.pk)


def _end(draft: ParameterDraft) -> None:
    _stop(draft)
    draft.delete()


def _held(draft: ParameterDraft) -> ParameterDraft:
    found = ParameterDraft.objects.select_for_update(of=("self",)).select_related("base", "job").filter(pk=draft.pk)
    held = found.first()
    if held is None:
        raise Clash("This draft has been put in force or thrown away meanwhile.")
    return held
