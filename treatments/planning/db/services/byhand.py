"""Moving, swapping and locking by hand. What a person put somewhere is pinned there; everything can be undone."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from media.base import events
from media.base.errors import Clash, FettleError, NotThere
from media.base.models import JobState, User
from survey.register.db.models import Exhibition
from treatments.planning.byhand import Placed, moved, swapped
from treatments.planning.calendar import monday_of
from treatments.planning.db.models import HandMove, LockedWeek, Plan, PlannedStep, StaffMember
from treatments.planning.db.selectors import arrangement as reading
from treatments.planning.db.selectors.arrangement import Arranged

MOST_SAID = 4  # sittings named in one message; of more the number is said


class WouldClash(FettleError):
    """A change that clashes, and that nobody has confirmed: ``lines`` say with what."""

    status = Clash.status

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__("This would clash. " + " ".join(lines))
        self.lines = list(lines)


@transaction.atomic
def move(
    plan_id: uuid.UUID,
    key: int,
    *,
    staff: str,
    starts: datetime,
    was: str = "",
    carry: bool = True,
    sure: bool = False,
    by: User,
    at: datetime,
) -> HandMove:
    """Give a sitting to a person at a local time, and pin its object.

    ``was`` is where the sitting lay when the person looked at it (`place_word`): refused if it lies elsewhere now.
    ``carry`` takes later sittings of the object along where they would begin too early. What would clash raises
    ``WouldClash`` unless ``sure``.
    """
    there = _opened(plan_id, at)
    one = _sitting(there, key, was)
    after = proposed(there, one, staff=staff, starts=starts, carry=carry)
    return _keep(there, after, "moved", sure=sure, by=by, at=at)


@transaction.atomic
def swap(
    plan_id: uuid.UUID, key: int, other: int, *, was: str = "", sure: bool = False, by: User, at: datetime
) -> HandMove:
    """Let two sittings change places, and pin their objects. Refused as ``move`` is."""
    there = _opened(plan_id, at)
    after = proposed_swap(there, _sitting(there, key, was), str(other))
    return _keep(there, after, "swapped", sure=sure, by=by, at=at)


def proposed(there: Arranged, one: Placed, *, staff: str, starts: datetime, carry: bool) -> list[Placed]:
    """Where everything would lie. Refused in words: a person or a time that cannot be, a locked week."""
    if staff not in there.names:
        raise NotThere("This person is not on the staff list any more. Choose somebody else.")
    start = there.quarter(starts)
    if not reading.in_reach(there, start):
        last = reading.last_monday(there)
        raise FettleError(f"Choose a time from now on, up to the week of {last:%-d %B %Y}.")
    return moved(there.placed, there.room, one.key, person=staff, start=start, carry=carry)


def proposed_swap(there: Arranged, one: Placed, other: str) -> list[Placed]:
    """The same for two sittings that change places; ``other`` is the key of the second, as a page sends it."""
    second = _sitting(there, int(other) if other.isdecimal() and len(other) < 19 else 0, "")
    if one.key == second.key:
        raise FettleError("Choose another sitting to swap with: this is the same one.")
    return swapped(there.placed, one.key, second.key)


def place_word(one: Placed) -> str:
    """Where a sitting lies, in one word: what a page sends back so that nobody moves what has moved meanwhile."""
    return f"{one.person}@{one.start}"


def _opened(plan_id: uuid.UUID, at: datetime) -> Arranged:
    """The plan, held for this change: the newest, and no search writing it."""
    plan = Plan.objects.select_for_update().filter(pk=plan_id).first()
    if plan is None:
        raise NotThere("This plan does not exist any more. Look at the newest one.")
    newer = Plan.objects.filter(exhibition=plan.exhibition_id, kept_at__isnull=False, made_at__gt=plan.made_at)
    if newer.exists():
        raise Clash("There is a newer plan. Nothing was moved: look at the newest one.")
    if plan.finished_at is None and plan.job and plan.job.state in {JobState.QUEUED, JobState.RUNNING}:
        raise Clash("A search still looks for a better plan. Wait for it, or stop it; then move things by hand.")
    return reading.arranged(plan, at)


def _sitting(there: Arranged, key: int, was: str) -> Placed:
    one = there.one(key)
    if one is None:
        raise NotThere("This sitting is not in the plan any more. Look at the newest plan.")
    if was and was != place_word(one):
        raise Clash(f"Somebody has moved this meanwhile: it is now with {there.where(one)}. Look again, then decide.")
    if one.begun:
        raise FettleError("This sitting has begun or is past, so it stays where it was.")
    return one


def _keep(there: Arranged, after: Sequence[Placed], verb: str, *, sure: bool, by: User, at: datetime) -> HandMove:
    pairs = reading.changes(there, after)
    if not pairs:
        raise FettleError("It lies there already: nothing was moved.")
    for one in (one for pair in pairs for one in pair):
        if there.is_locked(one):
            monday = monday_of(there.moment(one.start).date())
            raise FettleError(
                f"The week of {monday:%-d %B} is locked, so nothing moves into it or out. Unlock it first."
            )
    clashing = reading.new_clashes(there, after)
    if clashing and not sure:
        raise WouldClash([line.words for line in clashing])
    rows = {row.pk: row for row in there.plan.steps.filter(pk__in=[was.key for was, _ in pairs])}
    things = {row.object_id for row in rows.values()}
    pins: dict[Any, int | None] = dict(
        there.plan.steps.filter(object_id__in=things).values_list("object_id", "pinned_by_id")
    )
    before = _state(rows.values(), pins)
    for _, now in pairs:
        _place(rows[now.key], there, now)
    PlannedStep.objects.bulk_update(rows.values(), ["staff", "starts", "ends", "wait_until"])
    there.plan.steps.filter(object_id__in=things).update(pinned_by=by)
    words = _words(there, pairs)
    made = HandMove.objects.create(
        plan=there.plan, at=at, by=by, words=words[:1000], before=before,
        after=_state(rows.values(), dict.fromkeys(things, by.pk)),
    )  # fmt: skip
    for thing in things:
        events.record(there.plan, f"{verb} by hand", by=by, at=at, thread=str(thing), note=words)
    return made


def _place(row: PlannedStep, there: Arranged, one: Placed) -> None:
    def aware(quarter: int) -> datetime:
        return timezone.make_aware(there.moment(quarter))

    row.staff_id = uuid.UUID(one.person) if one.person else None
    row.starts, row.ends = aware(one.start), aware(one.end)
    row.wait_until = aware(one.set) if one.cure else None


def _state(rows: Iterable[PlannedStep], pins: dict[Any, int | None]) -> dict[str, Any]:
    def text(moment: datetime | None) -> str | None:
        return moment.isoformat() if moment else None

    return {
        "sittings": [
            [row.pk, str(row.staff_id or "") or None, text(row.starts), text(row.ends), text(row.wait_until)]
            for row in sorted(rows, key=lambda row: row.pk)
        ],
        "pins": {str(thing): pinned for thing, pinned in pins.items()},
    }  # fmt: skip


def _words(there: Arranged, pairs: Sequence[tuple[Placed, Placed]]) -> str:
    lines = reading.move_lines(there, pairs[:MOST_SAID])
    if len(pairs) > MOST_SAID:
        lines.append(f"{len(pairs) - MOST_SAID} more sittings moved with them.")
    return " ".join(lines)


@transaction.atomic
def undo_move(plan_id: uuid.UUID, *, by: User, at: datetime) -> HandMove:
    """Put back what was moved by hand last, and its pins. Refused where it lies elsewhere since, or has begun."""
    there = _opened(plan_id, at)
    last = reading.newest_move(there.plan)
    if last is None:
        raise FettleError("There is nothing left to undo in this plan.")
    rows = {row.pk: row for row in there.plan.steps.filter(pk__in=[row[0] for row in last.after["sittings"]])}
    if len(rows) < len(last.after["sittings"]) or not _same(rows, last.after["sittings"]):
        raise Clash("What was moved lies elsewhere by now, so it cannot be put back. Move it by hand.")
    for pk, staff, starts, ends, wait in last.before["sittings"]:
        row = rows[pk]
        row.starts, row.ends, row.wait_until = _moment(starts), _moment(ends), _moment(wait) if wait else None
        row.staff = StaffMember.objects.filter(pk=staff).first() if staff else None
        if there.quarter(timezone.localtime(row.starts).replace(tzinfo=None)) < there.room.now:
            raise FettleError("The time from which it was moved is past, so it cannot go back there. Move it by hand.")
    _refuse_locked(there, rows.values())
    PlannedStep.objects.bulk_update(rows.values(), ["staff", "starts", "ends", "wait_until"])
    for thing, pinned in last.before["pins"].items():
        there.plan.steps.filter(object_id=thing).update(pinned_by=User.objects.filter(pk=pinned).first())
        events.record(there.plan, "move by hand undone", by=by, at=at, thread=thing, note=last.words)
    last.undone_at, last.undone_by = at, by
    last.save(update_fields=["undone_at", "undone_by"])
    return last


def _refuse_locked(there: Arranged, rows: Iterable[PlannedStep]) -> None:
    """Neither from where things lie nor to where they would go back."""
    goes = {monday_of(timezone.localtime(row.starts).date()) for row in rows}
    lies = {monday_of(there.moment(one.start).date()) for row in rows if (one := there.one(row.pk))}
    if locked := (goes | lies) & there.locked:
        raise FettleError(
            f"The week of {min(locked):%-d %B} is locked, so nothing moves into it or out. Unlock it first."
        )


def _same(rows: dict[int, PlannedStep], kept: Sequence[Sequence[Any]]) -> bool:
    return all(
        (str(rows[pk].staff_id or ""), rows[pk].starts, rows[pk].ends) == (staff or "", _moment(starts), _moment(ends))
        for pk, staff, starts, ends, _ in kept
    )


def _moment(text: str) -> datetime:
    found = parse_datetime(text)
    if found is None:
        raise ValueError(f"{text!r} is no moment")
    return found


@transaction.atomic
def lock_week(exhibition: Exhibition, day: date, *, to: bool, by: User, at: datetime) -> None:
    """Lock the week of a day, so that nothing in it moves by hand or by planning again; or let it go."""
    monday = monday_of(day)
    if to:
        _, changed = LockedWeek.objects.get_or_create(
            exhibition=exhibition, monday=monday, defaults={"by": by, "at": at}
        )
    else:
        changed = bool(LockedWeek.objects.filter(exhibition=exhibition, monday=monday).delete()[0])
    if changed:
        note = f"Week of {monday.isoformat()}"
        events.record(exhibition, "week locked" if to else "week unlocked", by=by, at=at, note=note)
