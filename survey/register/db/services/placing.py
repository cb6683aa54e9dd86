"""Sorting objects into places by the register's words: missing places are made, then objects put there in bulk."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import islice
from uuid import UUID

from django.db import transaction

from media.base import bulk, events, jobs
from media.base.errors import Clash, FettleError
from media.base.jobs import Work
from media.base.models import User
from survey.register.db.models import Object, ObjectMove, Place, Sorting, SortingState
from survey.register.db.selectors.places import subtree
from survey.register.db.selectors.placing import Plan, Steps, open_sorting, site_called, unplaced_with_words
from survey.register.db.services.places import add_place
from survey.register.placing import fold, natural

PLACE, UNDO = "register.place_by_words", "register.undo_placing"
REASON = "Sorted by the register's words"
BATCH, FEW = 2_000, 50
_encode = json.JSONEncoder(ensure_ascii=False).encode


@transaction.atomic
def ask_to_place(plan: Plan, *, by: User | None, at: datetime) -> Sorting:
    """Keep what a plan would do and have it done."""
    if plan.problem:
        raise FettleError(plan.problem)
    if not plan.paths:
        raise FettleError("No text becomes a place: change the choices.")
    if open_sorting():
        raise Clash("Another sorting has begun and not ended: let it end, go on with it, or undo it first.")
    choices = {
        "site": plan.choices.site, "separator": plan.choices.separator,
        "largest_first": plan.choices.largest_first, "finest": plan.choices.finest,
    }  # fmt: skip
    sorting = Sorting.objects.create(choices=choices, paths=plan.paths, asked_by=by, asked_at=at)
    sorting.job = jobs.enqueue(PLACE, by=by, title="Sort objects into places", sorting=str(sorting.pk))
    sorting.save(update_fields=["job"])
    became = {**choices, "texts": len(plan.paths), "objects": plan.objects, "new places": len(plan.new)}
    events.record(sorting, "asked for", by=by, at=at, became=became)
    return sorting


def ask_to_go_on(sorting: Sorting, *, by: User | None) -> Sorting:
    """Have a sorting that was interrupted done to its end."""
    return _ask(sorting, PLACE, {SortingState.ASKED, SortingState.DOING}, "Sort objects into places", by)


def ask_to_undo(sorting: Sorting, *, by: User | None) -> Sorting:
    """Have a sorting undone whole, also one that was interrupted."""
    states = {SortingState.ASKED, SortingState.DOING, SortingState.DONE}
    return _ask(sorting, UNDO, states, "Undo sorting into places", by)


@transaction.atomic
def _ask(sorting: Sorting, name: str, states: set[SortingState], title: str, by: User | None) -> Sorting:
    sorting = Sorting.objects.select_for_update(of=("self",)).select_related("job").get(pk=sorting.pk)
    if sorting.job and not sorting.job.ended:
        raise Clash("Work on this sorting is still going on: wait until it ends, or stop it.")
    if sorting.state not in states:
        raise Clash(f"This sorting is “{SortingState(sorting.state).label.lower()}”: this cannot be done with it now.")
    sorting.job = jobs.enqueue(name, by=by, title=title, sorting=str(sorting.pk))
    sorting.save(update_fields=["job"])
    return sorting


def place_by_words(work: Work, sorting: Sorting, *, by: User | None, at: datetime) -> None:
    """Make the places that are missing, then put there every object of those words that still has no place.

    Taken up after a kill: places made before are found again, objects placed before have a place.
    """
    if sorting.state not in {SortingState.ASKED, SortingState.DOING}:
        raise Clash("This sorting has been done or undone: sort again from the places.")
    with work.step(saying="Making the places"):
        Sorting.objects.filter(pk=sorting.pk).update(state=SortingState.DOING)
    paths: dict[str, Steps] = {text: tuple((n, k) for n, k in steps) for text, steps in sorting.paths.items()}
    there = _places_there(paths)
    missing = _missing(paths, there)
    objects = sum(1 for text in unplaced_with_words().values_list("place_text", flat=True).iterator() if text in paths)
    work.say("Making the places", total=work.row.done + len(missing) + objects)
    _make(work, sorting, missing, there, by=by, at=at)
    _put(work, sorting, {text: there[_key(steps)] for text, steps in paths.items()}, by=by, at=at)
    counts = {"objects": sorting.moves.count(), "places": len(sorting.made)}
    with work.step(saying="Placed"):
        Sorting.objects.filter(pk=sorting.pk).update(state=SortingState.DONE, done_at=at, counts=counts)
        events.record(sorting, "placed", by=by, at=at, became=counts)
    work.finish(counts)


def _key(steps: Steps) -> tuple[str, ...]:
    return tuple(fold(name) for name, _ in steps)


def _places_there(paths: Mapping[str, Steps]) -> dict[tuple[str, ...], Place]:
    """Places of the site by their folded names from it down. Two queries."""
    root = site_called(next(iter(paths.values()))[0][0])
    found: dict[tuple[str, ...], Place] = {}
    keys: dict[UUID, tuple[str, ...]] = {}
    for place in subtree(root).order_by("path") if root else ():
        above = keys[place.parent_id] if place.parent_id else ()
        keys[place.pk] = (*above, fold(place.name))
        found.setdefault(keys[place.pk], place)
    return found


def _missing(paths: Mapping[str, Steps], there: Mapping[tuple[str, ...], Place]) -> list[Steps]:
    """Paths of the places to make: each after the place that it stands in, and in the order that one counts in."""
    wanted = {_key(steps[:n]): steps[:n] for steps in paths.values() for n in range(1, len(steps) + 1)}
    missing = [steps for key, steps in wanted.items() if key not in there]
    return sorted(missing, key=lambda steps: [natural(name) for name, _ in steps])


def _make(
    work: Work, sorting: Sorting, missing: Sequence[Steps], there: dict[tuple[str, ...], Place],
    *, by: User | None, at: datetime,
) -> None:  # fmt: skip
    ahead = iter(missing)
    while few := list(islice(ahead, FEW)):
        with work.step(done=len(few)):
            for steps in few:
                key, (name, kind) = _key(steps), steps[-1]
                there[key] = add_place(kind=kind, name=name, parent=there.get(key[:-1]), by=by, at=at)
                sorting.made.append(str(there[key].pk))
            Sorting.objects.filter(pk=sorting.pk).update(made=sorting.made)


def _put(work: Work, sorting: Sorting, where: Mapping[str, Place], *, by: User | None, at: datetime) -> None:
    work.say("Putting the objects there")
    todo = unplaced_with_words().order_by("pk").values_list("pk", "place_text")
    while ahead := list((todo.filter(pk__gt=work.cursor) if work.cursor else todo)[:BATCH]):
        wanted = [pk for pk, text in ahead if text in where]
        with work.step(cursor=str(ahead[-1][0]), done=len(wanted)):
            _put_batch(sorting, wanted, where, by=by, at=at)


def _put_batch(
    sorting: Sorting, wanted: Sequence[UUID], where: Mapping[str, Place], *, by: User | None, at: datetime
) -> None:
    """Objects that still have no place and still say these words; their moves and events."""
    free = Object.objects.select_for_update().filter(pk__in=wanted, place=None, withdrawn_at=None)
    going = [(pk, where[text]) for pk, text in free.values_list("pk", "place_text") if text in where]
    bulk.update_rows(Object, ["place_id"], ((place.pk.hex, pk.hex) for pk, place in going))
    bulk.insert_rows(
        ObjectMove, ("object_id", "to_place_id"), ((pk.hex, place.pk.hex) for pk, place in going),
        leave_out=("id",), at=at, by_id=by.pk if by else None, reason=REASON, sorting_id=sorting.pk,
    )  # fmt: skip
    told = ((str(pk), '{"place": null}', _encode({"place": place.full_name})) for pk, place in going)
    events.record_rows(Object, "moved", told, by=by, at=at, note=REASON)
