"""Bodies of operations by kind, and what each says that it was based on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from media.markup.geometry import BadMarkup
from survey.capture.checking import Refused, choice, items, key, keys, number, sha256, table, text, whole, yes_no
from survey.condition import marking
from survey.condition.grades import AXES, BASES, GRADES, STAGE_COUNT

ANSWERS = ("present", "none", "not_seen", "not_known")
FOUND = ("here", "elsewhere", "missing")
HANDLING = ("free", "care", "do_not_lift", "not_known")
VISITS = ("round", "looked_bad", "incident")
GRADED = (*GRADES, "not_seen", "not_known")
SEEN = ("seen", "not_seen", "not_known")
ADHESIVES = (
    "animal_glue", "natural_resin", "cellulose_nitrate", "rubber_cement", "pvac", "epoxy", "cyanoacrylate",
    "polyester", "acrylic", "plaster_cement", "mechanical",
)  # fmt: skip
MATERIALS = ("plaster", "wax", "putty", "resin")
SIZES = {"length_mm": 10_000, "wall_mm": 500, "lever_mm": 5_000, "held_mass_kg": 500, "area_cm2": 50_000}
FACTS: Mapping[str, tuple[str, ...]] = {
    "joint": ("part", "length_mm", "wall_mm", "lever_mm", "held_mass_kg", "structural", "adhesive"),
    "fill": ("part", "material", "area_cm2"),
    "overpaint": ("part", "area_cm2", "over_original"),
}
"""Lasting facts of a part; ``adhesive`` is None or ``{"adhesive", "basis"}``: neither means anything alone."""
MOST_PARTS, MOST_SIGNS, MOST_EVIDENCE, MOST_KNOWN = 100, 40, 20, 50
LONGEST_TEXT, LONGEST_LOOK_SECONDS = 10_000, 12 * 3600

ASSESSMENT = (
    "round", "definitions", "visit", "seconds", "found", "place_found", "old_restoration", *AXES, "handling",
    "observation", "interpretation", "as_last_time", "restorations", "parts", "views",
)  # fmt: skip


def assessment(value: Any, photographs: tuple[str, ...]) -> Mapping[str, Any]:
    """A whole finished assessment; completeness is asked of it when it is applied, by the survey's own rules.

    ``round`` and ``place_found`` are ids or None; ``seconds`` is the time spent on the object; ``as_last_time`` is the
    id of the earlier assessment of which the surveyor said, after looking, that nothing has changed; ``views`` gives
    words for photographs by their hash.
    """
    body = table(value, "body", needs=ASSESSMENT)
    found = choice(body["found"], "body.found", FOUND)
    place = _maybe_key(body["place_found"], "body.place_found")
    if place and found != "elsewhere":
        raise Refused("body.place_found: is only said of an object that was found elsewhere")
    restorations = tuple(
        _restoration(each, f"body.restorations[{i}]")
        for i, each in enumerate(items(body["restorations"], "body.restorations", most=MOST_PARTS))
    )
    parts = tuple(
        _part(each, f"body.parts[{i}]") for i, each in enumerate(items(body["parts"], "body.parts", most=MOST_PARTS))
    )
    for where, rows in (("restorations", restorations), ("parts", parts)):
        if len({row["id"] for row in rows}) != len(rows):
            raise Refused(f"body.{where}: names one thing twice")
    return {
        "round": _maybe_key(body["round"], "body.round"),
        "definitions": whole(body["definitions"], "body.definitions", low=1, high=100_000),
        "visit": choice(body["visit"], "body.visit", VISITS),
        "seconds": whole(body["seconds"], "body.seconds", low=0, high=LONGEST_LOOK_SECONDS),
        "found": found,
        "place_found": place,
        "old_restoration": choice(body["old_restoration"], "body.old_restoration", (*ANSWERS, "")),
        **{axis: choice(body[axis], f"body.{axis}", (*GRADED, "")) for axis in AXES},
        "handling": choice(body["handling"], "body.handling", (*HANDLING, "")),
        "observation": text(body["observation"], "body.observation", most=LONGEST_TEXT),
        "interpretation": text(body["interpretation"], "body.interpretation", most=LONGEST_TEXT),
        "as_last_time": _maybe_key(body["as_last_time"], "body.as_last_time"),
        "restorations": restorations,
        "parts": parts,
        "views": _views(body["views"], photographs),
    }


def _views(value: Any, photographs: tuple[str, ...]) -> Mapping[str, str]:
    if len(set(photographs)) != len(photographs):
        raise Refused("photographs: names one photograph twice")
    if not isinstance(value, dict):
        raise Refused("body.views: must be an object")
    for name in value:
        if sha256(name, "body.views") not in photographs:
            raise Refused("body.views: speaks of a photograph that the operation does not name")
    return {name: text(words, "body.views", most=40) for name, words in value.items()}


def _maybe_key(value: Any, where: str) -> str | None:
    return None if value is None else key(value, where)


def _restoration(value: Any, where: str) -> Mapping[str, Any]:
    """A campaign of old work that the tablet made."""
    row = table(value, where, needs=("id", "date_text", "workshop", "notes"))
    return {
        "id": key(row["id"], f"{where}.id"),
        "date_text": text(row["date_text"], f"{where}.date_text", most=80),
        "workshop": text(row["workshop"], f"{where}.workshop", most=200),
        "notes": text(row["notes"], f"{where}.notes", most=2_000),
    }


def _part(value: Any, where: str) -> Mapping[str, Any]:
    """A joint, fill or overpaint and what was seen of it.

    ``made`` holds the facts it was recorded with if the tablet made it (each operation that names it holds them, so
    that none waits for another), else None; ``new`` says that it was first recorded in this assessment.
    """
    needs = ("kind", "id", "made", "new", "restoration", "stage", "answer", "signs", "evidence")
    row = table(value, where, needs=needs)
    kind = choice(row["kind"], f"{where}.kind", tuple(FACTS))
    made = None if row["made"] is None else _made(row["made"], kind, f"{where}.made")
    restoration = _maybe_key(row["restoration"], f"{where}.restoration")
    if made is not None and restoration is None:
        raise Refused(f"{where}.restoration: say to which restoration a new part belongs")
    if not isinstance(row["new"], bool) or (row["new"] and made is None):
        raise Refused(f"{where}.new: must be true or false, and true only with what was made")
    stage, answer = _seen(row, kind, where)
    return {
        "kind": kind,
        "id": key(row["id"], f"{where}.id"),
        "made": made,
        "new": row["new"],
        "restoration": restoration,
        "stage": stage,
        "answer": answer,
        "signs": _signs(row["signs"], f"{where}.signs"),
        "evidence": _evidence(row["evidence"], kind, f"{where}.evidence"),
    }


def _made(value: Any, kind: str, where: str) -> Mapping[str, Any]:
    row = table(value, where, needs=(), may=FACTS[kind])
    return {name: fact(kind, name, row[name], f"{where}.{name}") for name in row}


def _seen(row: Mapping[str, Any], kind: str, where: str) -> tuple[int | None, str | None]:
    """Stage and answer of a joint; None and None of other parts, and of a joint of which nothing is said."""
    stage, answer = row["stage"], row["answer"]
    if kind != "joint" or answer is None:
        if stage is not None or answer is not None:
            raise Refused(f"{where}.stage: only a joint that is answered has a stage")
        return None, None
    choice(answer, f"{where}.answer", SEEN)
    if answer != "seen" and stage is not None:
        raise Refused(f"{where}.stage: only a joint that was seen has a stage")
    if answer == "seen":
        whole(stage, f"{where}.stage", low=0, high=STAGE_COUNT - 1)
    return stage, answer


def _signs(value: Any, where: str) -> tuple[Mapping[str, Any], ...]:
    rows = []
    for i, each in enumerate(items(value, where, most=MOST_SIGNS)):
        row = table(each, f"{where}[{i}]", needs=("code", "answer", "extent_percent"))
        answer = choice(row["answer"], f"{where}[{i}].answer", ANSWERS)
        extent = row["extent_percent"]
        if extent is not None:
            whole(extent, f"{where}[{i}].extent_percent", low=1, high=100)
            if answer != "present":
                raise Refused(f"{where}[{i}].extent_percent: is only said of a sign that is present")
        code = text(row["code"], f"{where}[{i}].code", least=1, most=20)
        rows.append({"code": code, "answer": answer, "extent_percent": extent})
    if len({row["code"] for row in rows}) != len(rows):
        raise Refused(f"{where}: answers one sign twice")
    return tuple(rows)


def _evidence(value: Any, kind: str, where: str) -> tuple[Mapping[str, Any], ...]:
    rows = []
    for i, each in enumerate(items(value, where, most=MOST_EVIDENCE)):
        row = table(each, f"{where}[{i}]", needs=("basis", "finding", "note"))
        rows.append(
            {
                "basis": choice(row["basis"], f"{where}[{i}].basis", BASES),
                "finding": text(row["finding"], f"{where}[{i}].finding", least=1, most=40),
                "note": text(row["note"], f"{where}[{i}].note", most=300),
            }
        )
    if rows and kind != "joint":
        raise Refused(f"{where}: only a joint has an adhesive")
    return tuple(rows)


def fact(kind: str, field: str, value: Any, where: str) -> Any:
    """One lasting fact of a part; None where not known. Raises ``Refused``."""
    if field == "part":
        return " ".join(text(value, where, most=80).split())
    if value is None:
        return None
    if field in SIZES:
        return number(value, where, above=0, most=SIZES[field])
    if field in ("structural", "over_original"):
        return yes_no(value, where)
    if field == "material":
        return choice(value, where, MATERIALS)
    if field == "adhesive":
        row = table(value, where, needs=("adhesive", "basis"))
        return {
            "adhesive": choice(row["adhesive"], f"{where}.adhesive", ADHESIVES),
            "basis": choice(row["basis"], f"{where}.basis", BASES),
        }
    raise Refused(f"{where}: is not recorded of a {kind}")


def changed_fact(value: Any, photographs: tuple[str, ...]) -> Mapping[str, Any]:
    """One lasting fact of a part, changed."""
    body = table(value, "body", needs=("thing", "id", "field", "value"))
    _none(photographs)
    thing = choice(body["thing"], "body.thing", tuple(FACTS))
    field = choice(body["field"], "body.field", FACTS[thing])
    return {
        "thing": thing,
        "id": key(body["id"], "body.id"),
        "field": field,
        "value": fact(thing, field, body["value"], "body.value"),
    }


def unlisted(value: Any, photographs: tuple[str, ...]) -> Mapping[str, Any]:
    """An object on a shelf that the tablet's list does not hold; the tablet makes the operation's ``object_id``."""
    body = table(value, "body", needs=("number", "simple_name", "place", "note"))
    _none(photographs)
    number = " ".join(text(body["number"], "body.number", least=1, most=120).split())
    if not number:
        raise Refused("body.number: must say something")
    return {
        "number": number,
        "simple_name": " ".join(text(body["simple_name"], "body.simple_name", most=200).split()),
        "place": _maybe_key(body["place"], "body.place"),
        "note": text(body["note"], "body.note", most=2_000),
    }


def markup(value: Any, photographs: tuple[str, ...]) -> Mapping[str, Any]:
    """What was drawn on a photograph; a joint, fill or overpaint that it shows is named as the tablet names it.

    ``drawing`` comes back as `media.markup.geometry.Drawing`.
    """
    body = table(value, "body", needs=("photograph", "drawing"))
    _none(photographs)
    try:
        drawing = marking.read(body["drawing"])
        marking.parts_in(drawing)
    except BadMarkup as error:
        raise Refused(f"body.drawing: {error}") from error
    return {"photograph": sha256(body["photograph"], "body.photograph"), "drawing": drawing}


def _none(photographs: tuple[str, ...]) -> None:
    if photographs:
        raise Refused("photographs: belong to an assessment")


BASIS: Mapping[str, tuple[str, ...]] = {
    "assessment": ("after", "value", "here", "assessments"),
    "fact": ("after", "value"),
    "markup": ("after",),
}


def based_on(kind: str, value: Any, body: Mapping[str, Any]) -> Mapping[str, Any]:
    """What the person had before them.

    ``after`` names the edits of the field that were known, of markup the versions; ``value`` what the server said of it
    last, whatever was changed on the tablet since: of a fact that fact, of an assessment the object's place. An
    assessment has ``here`` too, the place where the tablet had the object by then, and ``assessments``, the ids of
    those known. Of an unlisted object nothing is said.
    """
    if kind == "unlisted":
        return table(value, "based_on", needs=())
    row = table(value, "based_on", needs=BASIS[kind])
    seen: dict[str, Any] = {"after": keys(row["after"], "based_on.after", most=MOST_KNOWN)}
    if kind == "markup":
        return seen
    if kind == "assessment":
        seen["value"] = _maybe_key(row["value"], "based_on.value")
        seen["here"] = _maybe_key(row["here"], "based_on.here")
        seen["assessments"] = keys(row["assessments"], "based_on.assessments", most=MOST_KNOWN)
    else:
        seen["value"] = fact(body["thing"], body["field"], row["value"], "based_on.value")
    return seen


CHECKS: Mapping[str, Callable[[Any, tuple[str, ...]], Mapping[str, Any]]] = {
    "assessment": assessment,
    "fact": changed_fact,
    "unlisted": unlisted,
    "markup": markup,
}
