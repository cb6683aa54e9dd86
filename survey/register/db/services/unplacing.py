"""Undoing a sorting whole: objects still where it put them have no place again, places that nothing needs go."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import Max

from media.base import events
from media.base.errors import Clash
from media.base.jobs import Work
from media.base.models import User
from survey.register.db.models import Object, ObjectMove, Place, Sorting, SortingState
from survey.register.db.services.places import delete_place
from survey.register.db.services.undoing import referring

BATCH, FEW = 2_000, 50
NOTE = "Sorting into places undone"
Move = tuple[int, UUID, UUID]
_encode = json.JSONEncoder(ensure_ascii=False).encode


def undo_placing(work: Work, sorting: Sorting, *, by: User | None, at: datetime) -> None:
    """Take back what a sorting did and nobody has changed since; taken up after a kill where the last batch ended."""
    if sorting.state == SortingState.UNDONE:
        raise Clash("This sorting is undone already.")
    todo = sorting.moves.order_by("pk").values_list("pk", "object_id", "to_place_id")
    left = todo.filter(pk__gt=int(work.cursor or 0)).count()
    work.say("Taking the objects back", total=work.row.done + left + len(sorting.made))
    while moves := list(todo.filter(pk__gt=int(work.cursor or 0))[:BATCH]):
        with work.step(cursor=str(moves[-1][0]), done=len(moves)):
            _take_back([(pk, thing, place) for pk, thing, place in moves if place], by=by, at=at)
    _remove_places(work, sorting, by=by, at=at)
    counts = {**sorting.counts, "kept_objects": sorting.moves.count(), "kept_places": len(sorting.made)}
    with work.step(saying="Undone"):
        Sorting.objects.filter(pk=sorting.pk).update(state=SortingState.UNDONE, undone_at=at, counts=counts)
        events.record(sorting, "undone", by=by, at=at, became=counts)
    work.finish(counts)


def _take_back(moves: Sequence[Move], *, by: User | None, at: datetime) -> None:
    """Objects whose last move this was. Its row goes, so that the place is free to go; events keep both."""
    things = [thing for _, thing, _ in moves]
    standing = dict(Object.objects.select_for_update().filter(pk__in=things).values_list("pk", "place_id"))
    last = dict(
        ObjectMove.objects.filter(object__in=things).order_by().values_list("object_id").annotate(last=Max("pk"))
    )
    going = [move for move in moves if standing[move[1]] == move[2] and last[move[1]] == move[0]]
    names = dict(Place.objects.filter(pk__in={place for _, _, place in going}).values_list("pk", "full_name"))
    Object.objects.filter(pk__in=[thing for _, thing, _ in going]).update(place=None)
    ObjectMove.objects.filter(pk__in=[pk for pk, _, _ in going]).delete()
    told = ((str(thing), _encode({"place": names[place]}), '{"place": null}') for _, thing, place in going)
    events.record_rows(Object, "moved", told, by=by, at=at, note=NOTE)


def _remove_places(work: Work, sorting: Sorting, *, by: User | None, at: datetime) -> None:
    """From the end of the walk, so that what stands inside goes first and nothing has to close up."""
    work.say("Removing the places that it made")
    places = list(Place.objects.filter(pk__in=sorting.made).order_by("-path"))
    kept = []
    for start in range(0, len(places), FEW):
        few = places[start : start + FEW]
        with work.step(done=len(few)):
            named = referring(Place, [place.pk for place in few])
            for place in few:
                # Places inside may be going in this very step: delete_place looks again.
                if named.get(place.pk, set()) - {str(Place._meta.verbose_name_plural)} or not _removed(place, by, at):
                    kept.append(str(place.pk))
            gone = {str(place.pk) for place in places[: start + FEW]} - set(kept)
            sorting.made = [key for key in sorting.made if key not in gone]
            Sorting.objects.filter(pk=sorting.pk).update(made=sorting.made)


def _removed(place: Place, by: User | None, at: datetime) -> bool:
    try:
        delete_place(place, by=by, at=at)
    except Clash:
        return False
    return True
