"""What a tablet takes along: objects shelf by shelf, what surveys said of them, definitions, thumbnails."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.db.models import Count, Q, QuerySet

from media.base.errors import FettleError
from media.photographs.db.selectors import path_of
from survey.capture.bodies import FACTS, MOST_KNOWN
from survey.capture.db.models import Field, FieldEdit
from survey.capture.db.selectors.naming import MODELS, Thing, fact_of
from survey.capture.edits import Edit
from survey.capture.edits import standing as standing_edits
from survey.condition.db.models import Assessment, JointSeen, ObjectPhotograph, Restoration, Sign, SurveyRound
from survey.condition.db.selectors import newest, standing
from survey.condition.db.selectors.walking import open_rounds
from survey.register.db.models import ChecklistEntry, Exhibition, Object, Place, PlaceKind

MOST_OBJECTS = 600
MOST_PLACES = 3_000
PHOTOGRAPHS_EACH = 3

Said = dict[uuid.UUID, dict[str, Any]]


def objects_on(shelves: Sequence[uuid.UUID]) -> QuerySet[Object]:
    """Objects on some shelves and in their trays."""
    here = Q(place__in=shelves) | Q(place__parent__in=shelves, place__kind=PlaceKind.TRAY)
    return Object.objects.filter(here, withdrawn_at=None)


def objects_wanted(exhibition: uuid.UUID, section: str | None) -> QuerySet[Object]:
    """Objects on a checklist, or in one of its sections."""
    entries = ChecklistEntry.objects.filter(exhibition=exhibition, removed_at=None)
    if section is not None:
        entries = entries.filter(section=section)
    return Object.objects.filter(pk__in=entries.values("object"), withdrawn_at=None)


def pack(wanted: QuerySet[Object], survey_round: SurveyRound | None) -> dict[str, Any]:
    """All that a tablet needs of some objects, in walking order. Fourteen queries, however many objects.

    Raises ``FettleError`` for more than ``MOST_OBJECTS``.
    """
    objects = list(wanted.select_related("place__parent").order_by("place__path", "number_key")[: MOST_OBJECTS + 1])
    if len(objects) > MOST_OBJECTS:
        raise FettleError(f"A tablet takes at most {MOST_OBJECTS} objects along: choose fewer shelves.")
    ids = [thing.pk for thing in objects]
    known, latest = _assessments(ids)
    pictures = _photographs(ids)
    edits = _edits(ids)
    parts = _parts(ids, latest, edits)
    campaigns = _campaigns(ids)
    seen = _seen_in(ids, survey_round)
    return {
        "definitions": asdict(newest()),
        "round": _round(survey_round),
        "shelves": _shelves(objects),
        "places": _places(),
        "objects": [
            {
                **_head(thing),
                "seen": thing.pk in seen,
                "place_after": edits.get((thing.pk, "place"), []),
                "assessments": known.get(thing.pk, [])[-MOST_KNOWN:],
                "last": _last(latest.get(thing.pk)),
                "restorations": campaigns.get(thing.pk, []),
                "parts": parts.get(thing.pk, []),
                "photographs": pictures.get(thing.pk, []),
            }
            for thing in objects
        ],
        "thumbnails": _thumbnails(pictures),
    }


def _round(survey_round: SurveyRound | None) -> dict[str, Any] | None:
    return {"id": str(survey_round.pk), "name": survey_round.name} if survey_round else None


def _shelf(thing: Object) -> Place | None:
    place = thing.place
    return place.parent if place and place.kind == PlaceKind.TRAY and place.parent else place


def _shelves(objects: Sequence[Object]) -> list[dict[str, Any]]:
    found = {shelf.pk: shelf for thing in objects if (shelf := _shelf(thing))}
    return [{"id": str(shelf.pk), "name": shelf.name, "full_name": shelf.full_name} for shelf in found.values()]


def _places() -> list[dict[str, Any]]:
    """Where an object may be found that is not where it should be."""
    rows = Place.objects.filter(kind__in=(PlaceKind.SHELF, PlaceKind.TRAY)).order_by("path")
    return [{"id": str(pk), "name": name} for pk, name in rows.values_list("pk", "full_name")[:MOST_PLACES]]


def _head(thing: Object) -> dict[str, Any]:
    shelf = _shelf(thing)
    return {
        "id": str(thing.pk),
        "number": thing.number,
        "simple_name": thing.simple_name,
        "title": thing.title[:300],
        "restriction": thing.restriction,
        "place": str(thing.place_id) if thing.place_id else None,
        "shelf": str(shelf.pk) if shelf else None,
    }


def _seen_in(ids: Sequence[uuid.UUID], survey_round: SurveyRound | None) -> set[uuid.UUID]:
    rows = standing().filter(object__in=ids)
    if survey_round:
        rows = rows.filter(round=survey_round)
    return set(rows.values_list("object_id", flat=True))


def _assessments(ids: Sequence[uuid.UUID]) -> tuple[dict[uuid.UUID, list[str]], dict[uuid.UUID, Assessment]]:
    known: dict[uuid.UUID, list[str]] = defaultdict(list)
    latest: dict[uuid.UUID, Assessment] = {}
    for row in standing().filter(object__in=ids).select_related("surveyor").order_by("started_at", "finished_at"):
        known[row.object_id].append(str(row.pk))
        latest[row.object_id] = row
    return known, latest


def _last(row: Assessment | None) -> dict[str, Any] | None:
    if row is None:
        return None
    names = (
        "found", "old_restoration", "instability", "damage", "disfigurement", "handling", "observation",
        "interpretation",
    )  # fmt: skip
    return {
        "id": str(row.pk),
        "on": row.started_at.date().isoformat(),
        "by": row.surveyor.shown,
        **{name: getattr(row, name) for name in names},
    }


def _campaigns(ids: Sequence[uuid.UUID]) -> dict[uuid.UUID, list[dict[str, Any]]]:
    found: dict[uuid.UUID, list[dict[str, Any]]] = defaultdict(list)
    for row in Restoration.objects.filter(object__in=ids).select_related("workshop").order_by("year_earliest", "pk"):
        workshop = row.workshop.name if row.workshop else ""
        found[row.object_id].append({"id": str(row.pk), "date_text": row.date_text, "workshop": workshop})
    return found


def _edits(ids: Sequence[uuid.UUID]) -> dict[tuple[uuid.UUID, str], list[str]]:
    """Thing and field to the ids of the edits that stand."""
    rows = FieldEdit.objects.filter(field__object__in=ids).select_related("operation", "field").order_by("pk")
    by_field: dict[Field, list[Edit]] = defaultdict(list)
    for row in rows:
        device = str(row.operation.device_id) if row.operation else None
        sequence = row.operation.sequence if row.operation else None
        by_field[row.field].append(Edit(str(row.uuid), row.value, frozenset(row.after), device, sequence))
    return {(field.thing, field.name): [e.id for e in standing_edits(edits)] for field, edits in by_field.items()}


def _parts(
    ids: Sequence[uuid.UUID], latest: Mapping[uuid.UUID, Assessment], edits: Mapping[tuple[uuid.UUID, str], list[str]]
) -> dict[uuid.UUID, list[dict[str, Any]]]:
    said = _said([row.pk for row in latest.values()])
    found: dict[uuid.UUID, list[dict[str, Any]]] = defaultdict(list)
    for kind, model in MODELS.items():
        there: QuerySet[Any] = model._default_manager.filter(restoration__object__in=ids, ended_at=None)
        rows: list[Thing] = list(there.select_related("restoration"))
        for row in sorted(rows, key=lambda part: (len(part.label), part.label)):
            facts = {name: fact_of(row, name) for name in FACTS[kind]}
            after = {name: edits[row.pk, name] for name in FACTS[kind] if (row.pk, name) in edits}
            found[row.restoration.object_id].append(
                {
                    "id": str(row.pk),
                    "kind": kind,
                    "label": row.label,
                    "restoration": str(row.restoration_id),
                    "facts": facts,
                    "after": after,
                    "last": said.get(row.pk),
                }
            )
    return found


def _said(assessments: Sequence[uuid.UUID]) -> Said:
    """What the latest assessments say of each part."""
    found: Said = defaultdict(lambda: {"stage": None, "answer": None, "signs": []})
    seen = JointSeen.objects.filter(assessment__in=assessments).values_list("joint_id", "stage", "answer")
    for joint, stage, answer in seen:
        found[joint] |= {"stage": stage, "answer": answer}
    for sign in Sign.objects.filter(assessment__in=assessments).order_by("code"):
        owner = sign.joint_id or sign.fill_id or sign.overpaint_id
        if owner:
            told = {"code": sign.code, "answer": sign.answer, "extent_percent": sign.extent_percent}
            found[owner]["signs"].append(told)
    return dict(found)


def _photographs(ids: Sequence[uuid.UUID]) -> dict[uuid.UUID, list[dict[str, Any]]]:
    found: dict[uuid.UUID, list[dict[str, Any]]] = defaultdict(list)
    rows = ObjectPhotograph.objects.filter(object__in=ids).order_by("-at", "-pk")
    for owner, name, view, at in rows.values_list("object_id", "photograph_id", "view", "at"):
        if len(found[owner]) < PHOTOGRAPHS_EACH:
            found[owner].append({"sha256": name, "view": view, "on": at.date().isoformat()})
    return found


def _thumbnails(pictures: Mapping[uuid.UUID, list[dict[str, Any]]]) -> dict[str, Any]:
    """One thumbnail an object, the latest, and how many bytes they take as far as they are made."""
    names = sorted({rows[0]["sha256"] for rows in pictures.values() if rows})
    paths = [path_of(name, "webp", "thumb") for name in names]
    return {"sha256": names, "bytes": sum(path.stat().st_size for path in paths if path.exists())}


def choices() -> dict[str, Any]:
    """What can be taken along: shelves with their objects in walking order, checklists by section. Five queries."""
    standing_here = Object.objects.filter(withdrawn_at=None, place__isnull=False).order_by()
    counts: dict[uuid.UUID, int] = defaultdict(int)
    for place, parent, kind, number in standing_here.values_list(
        "place_id", "place__parent_id", "place__kind"
    ).annotate(number=Count("pk")):
        counts[parent if kind == PlaceKind.TRAY and parent else place] += number
    shelves = Place.objects.filter(pk__in=list(counts)).order_by("path").values_list("pk", "name", "full_name")
    return {
        "shelves": [{"id": str(pk), "name": n, "full_name": full, "objects": counts[pk]} for pk, n, full in shelves],
        "checklists": _checklists(),
        "rounds": [{"id": str(each.pk), "name": each.name} for each in open_rounds()],
    }


def _checklists() -> list[dict[str, Any]]:
    entries = ChecklistEntry.objects.filter(removed_at=None, object__withdrawn_at=None, exhibition__closed_at=None)
    rows = entries.order_by("section").values_list("exhibition_id", "section").annotate(number=Count("pk"))
    sections: dict[uuid.UUID, list[dict[str, Any]]] = defaultdict(list)
    for exhibition, section, number in rows:
        sections[exhibition].append({"section": section, "objects": number})
    found = Exhibition.objects.filter(pk__in=list(sections)).order_by("name").values_list("pk", "name")
    return [{"id": str(pk), "name": name, "sections": sections[pk]} for pk, name in found]
