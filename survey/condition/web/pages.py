"""What the pages of an assessment show."""

from __future__ import annotations

from typing import Any

from survey.condition import grades
from survey.condition.db.models import (
    Adhesive,
    Answer,
    Assessment,
    Basis,
    Fill,
    Found,
    Grade,
    Handling,
    Joint,
    Restoration,
    Visit,
    Workshop,
)
from survey.condition.db.selectors import definitions, latest_assessment, newest, what_is_missing
from survey.condition.db.selectors.assessments import (
    VOCABULARY,
    ThingSeen,
    last_step,
    others_at_work,
    photographs_of,
)
from survey.condition.db.selectors.missing import contradiction
from survey.condition.web.desk import STEPS, Desk, looked_from_mark
from survey.register.db.models import Place

STEP_NAMES = {
    "look": "Look",
    "parts": "Old parts",
    "grades": "Grades",
    "handling": "Handling",
    "photographs": "Photographs",
    "notes": "Notes",
    "check": "Check",
}
WHERE = ("foot", "base", "body", "shoulder", "neck", "rim", "handle", "spout", "lid", "inside")
WHEN = ("before 1900", "about 1900", "1910s", "1920s", "1930s", "1940s", "1950s", "1960s", "1970s", "1980s", "1990s")
EXTENTS = ((5, "a spot"), (25, "¼"), (50, "½"), (75, "¾"), (100, "all along"))
CERTAINTY = {
    Basis.DATE: "guessed",
    Basis.LOOK: "looked",
    Basis.UV: "tested",
    Basis.SOLVENT: "tested",
    Basis.SPOT_TEST: "tested",
    Basis.RECORD: "analysed",
    Basis.FTIR: "analysed",
}
SYMBOL = {grade: f"grade-{number}" for number, grade in enumerate(grades.GRADES, start=1)}


def desk_context(desk: Desk) -> dict[str, Any]:
    """All that the page of an object under survey shows, at its step."""
    request, assessment = desk.request, desk.assessment
    part = desk.part(request.GET.get("part"))
    step = _step(desk, request.GET.get("step", ""), part)
    missing = what_is_missing(assessment, desk.restorations) if assessment else []
    latest = latest_assessment(desk.object.pk)
    photographs = photographs_of(desk.object.pk, most=20)
    context = {
        "desk": desk,
        "object": desk.object,
        "assessment": assessment,
        "step": step,
        "steps": _steps(desk, step, {each.step for each in missing}),
        "missing": missing,
        "incomplete": "incomplete" in request.GET and missing,
        "last": last_step(assessment) if assessment else None,
        "latest": latest,
        "latest_grades": graded(latest) if latest else [],
        "others": others_at_work(desk.object.pk, desk.by),
        "photographs": photographs,
        "mine": [row for row in photographs if assessment and row.assessment_id == assessment.pk],
        "looked_from": looked_from_mark(desk.at),
        "here": desk.shelf,
        "do_not_lift": _do_not_lift(assessment, latest),
        "strays": bool(desk.shelf and desk.address() != desk.address().split("?")[0]),
        "book": definitions(assessment.definitions) if assessment else newest(),
    }
    return (
        context
        | STEP_CONTEXT.get(step, _nothing)(desk)
        | (_part(desk, part, assessment) if part and assessment else {})
    )


def _step(desk: Desk, asked: str, part: ThingSeen | None) -> str:
    if part:
        return part.kind
    if asked == "restoration":
        return asked
    return asked if asked in STEPS else "look"


def _do_not_lift(assessment: Assessment | None, latest: Assessment | None) -> bool:
    said = assessment.handling if assessment and assessment.handling else latest.handling if latest else ""
    return said == Handling.DO_NOT_LIFT


def _steps(desk: Desk, current: str, open_steps: set[str]) -> list[dict[str, Any]]:
    """The steps in order; old parts only where there is old restoration."""
    told = bool(desk.assessment and desk.assessment.old_restoration)
    restored = bool(desk.restorations) or bool(desk.assessment and desk.assessment.old_restoration == Answer.PRESENT)
    inside = {"joint", "fill", "overpaint", "restoration"}
    open_steps = {"parts" if step in inside else step for step in open_steps}
    return [
        {
            "code": code,
            "name": STEP_NAMES[code],
            "href": desk.address(code),
            "current": code == current or (code == "parts" and current in inside),
            "done": told and code not in open_steps and code in ("look", "parts", "grades", "handling"),
        }
        for code in STEPS
        if code != "parts" or restored
    ]


def _nothing(desk: Desk) -> dict[str, Any]:
    return {}


def _look(desk: Desk) -> dict[str, Any]:
    words = desk.request.GET.get("place", "").split()[:6]
    places = []
    if words:
        rows = Place._default_manager.order_by("path")
        for word in words:
            rows = rows.filter(full_name__icontains=word)
        places = list(rows[:12])
    recorded = bool(desk.restorations) or Restoration.objects.filter(object=desk.object).exists()
    return {
        "restored": Answer.choices,
        "founds": Found.choices,
        "places": places,
        "asked": " ".join(words),
        "recorded": recorded,
    }


def _grades(desk: Desk) -> dict[str, Any]:
    book = definitions(desk.assessment.definitions) if desk.assessment else newest()
    axes = [
        {
            "axis": axis,
            "given": getattr(desk.assessment, axis.code, ""),
            "choices": [
                {"value": value, "name": name, "symbol": SYMBOL.get(value, "")} for value, name in Grade.choices
            ],
        }
        for axis in book.axes
    ]
    return {"axes": axes}


def _handling(desk: Desk) -> dict[str, Any]:
    worst = max((thing.stage or 0 for each in desk.restorations for thing in each.joints), default=0)
    return {"handlings": Handling.choices, "unsafe": worst >= 3}


def _notes(desk: Desk) -> dict[str, Any]:
    text = f"{desk.assessment.observation}\n{desk.assessment.interpretation}" if desk.assessment else ""
    return {"vague": grades.vague_words(text), "visits": Visit.choices}


def _parts(desk: Desk) -> dict[str, Any]:
    return {"restorations": desk.restorations, "where": WHERE, "adding": desk.request.GET.get("add", "")}


def _restoration(desk: Desk) -> dict[str, Any]:
    asked = desk.request.GET.get("restoration")
    known = next((each.restoration for each in desk.restorations if str(each.restoration.pk) == asked), None)
    return {"restoration": known, "when": WHEN, "workshops": Workshop.objects.order_by("name")[:200]}


STEP_CONTEXT = {
    "look": _look,
    "grades": _grades,
    "handling": _handling,
    "notes": _notes,
    "parts": _parts,
    "restoration": _restoration,
}


def _part(desk: Desk, part: ThingSeen, assessment: Assessment) -> dict[str, Any]:
    """One joint, fill or area of paint: its stage, its signs, and what is opened of it."""
    book = definitions(assessment.definitions)
    answers = {sign.code: sign for sign in part.signs}
    terms = book.signs[VOCABULARY[part.kind]]
    signs = [{"term": term, "seen": answers.get(term.code)} for term in terms]
    opened = desk.request.GET.get("open", "")
    least = contradiction(assessment, part)
    basis = part.thing.basis if isinstance(part.thing, Joint) else ""
    return {
        "part": part,
        "thing": part.thing,
        "signs": signs,
        "opened": next(({"term": t, "seen": answers.get(t.code)} for t in terms if t.code == opened), None),
        "open": opened,
        "extents": EXTENTS,
        "least": least,
        "least_name": book.stages[least].name.lower() if least else "",
        "stages": [{"number": n, "symbol": f"stage-{n}", "term": term} for n, term in enumerate(book.stages)],
        "adhesives": Adhesive.choices,
        "bases": Basis.choices,
        "certainty": CERTAINTY[Basis(basis)] if basis else "",
        "findings": book.findings.get(opened.removeprefix("evidence-"), ()),
        "evidence": [(row, book.finding(row.basis, row.finding).name) for row in _known_evidence(part, book)],
        "materials": Fill._meta.get_field("material").choices,
        "where": WHERE,
    }


def _known_evidence(part: ThingSeen, book: grades.Definitions) -> list[Any]:
    known = {(basis, term.code) for basis, terms in book.findings.items() for term in terms}
    return [row for row in part.evidence if (row.basis, row.finding) in known]


def graded(assessment: Assessment) -> list[dict[str, Any]]:
    """The three axes with grade, its definition, and its number from 1 good to 4 unacceptable (None: not graded)."""
    rows = []
    for axis in definitions(assessment.definitions).axes:
        given = getattr(assessment, axis.code)
        number = grades.GRADES.index(given) + 1 if given in grades.GRADES else None
        rows.append(
            {
                "axis": axis,
                "number": number,
                "word": Grade(given).label if given else "Not asked",
                "definition": axis.grades[number - 1].definition if number else "",
            }
        )
    return rows
