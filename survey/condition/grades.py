"""Grades, stages and signs with their definitions, by version; the least stage that signs imply; words that say little.

A *book* (``fixtures/definitions.json`` holds the default) is ``{"versions": [version, ...]}``; `parse_book` checks it.
A version is never rewritten once assessments name it: other words or other signs are a new version.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

GRADES = ("good", "fair", "poor", "unacceptable")
AXES = ("instability", "damage", "disfigurement")
STAGE_COUNT = 5
THINGS = ("joint", "fill", "paint")
BASES = ("date", "look", "uv", "solvent", "spot_test", "record", "ftir")


@dataclass(frozen=True, slots=True)
class Term:
    """A code with its name as people read it."""

    code: str
    name: str
    definition: str = ""


@dataclass(frozen=True, slots=True)
class Axis:
    """One of the three axes of condition; ``grades`` gives the definition of each grade on it, good first."""

    code: str
    name: str
    question: str
    grades: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Floor:
    """From this extent on (percent of the joint's length), the joint is at least at this stage."""

    from_percent: int
    stage: int


@dataclass(frozen=True, slots=True)
class SignTerm:
    """A sign of failing, of one kind of thing; ``floors`` only for joints."""

    code: str
    name: str
    definition: str
    floors: tuple[Floor, ...] = ()


@dataclass(frozen=True, slots=True)
class Definitions:
    """One version of all terms. ``sign`` and ``finding`` raise ValueError for a code that it does not hold."""

    version: int
    adopted: str
    source: str
    axes: tuple[Axis, ...]
    stages: tuple[Term, ...]
    signs: Mapping[str, tuple[SignTerm, ...]]
    findings: Mapping[str, tuple[Term, ...]]

    def sign(self, thing: str, code: str) -> SignTerm:
        for sign in self.signs.get(thing, ()):
            if sign.code == code:
                return sign
        raise ValueError(f"code: there is no sign {code!r} of a {thing} in version {self.version}")

    def finding(self, basis: str, code: str) -> Term:
        for term in self.findings.get(basis, ()):
            if term.code == code:
                return term
        raise ValueError(f"finding: {code!r} is no finding by {basis!r} in version {self.version}")


def least_stage(definitions: Definitions, signs: Iterable[tuple[str, int | None]]) -> int:
    """The least stage, 0 to 4, that the signs present on a joint imply.

    Parameters
    ----------
    signs : pairs of code and extent
        Extent in percent of the joint's length, 0 to 100; None is "not said" and counts as the least extent.

    Raises
    ------
    ValueError
        A code or an extent that there is not, named.

    Examples
    --------
    A gap, however short, is a failing joint; edge lifting becomes failing adhesive from a quarter of the length on.
    The thresholds are common practice, not a finding.
    """
    stage = 0
    for code, extent in signs:
        if extent is not None and not 0 <= extent <= 100:
            raise ValueError(f"extent: must be 0 to 100 percent, not {extent}")
        reached = 1 if extent is None else extent
        floors = definitions.sign("joint", code).floors
        stage = max([stage, *(floor.stage for floor in floors if reached >= floor.from_percent)])
    return stage


SCOPE = "say how long, how wide or how many"
WHERE = "say what is seen, where on the object, and how far it runs"
SINCE = "say since when, or how that is known"
_ASK = {
    SCOPE: "small large big minor major slight slightly little some several",
    WHERE: "bad badly poor poorly nasty severe severely heavy heavily good fine ok okay nice various etc overall",
    SINCE: "recent recently old",
}
VAGUE: Mapping[str, str] = {word: ask for ask, words in _ASK.items() for word in words.split()}
_WORDS = re.compile(r"\b(" + "|".join(VAGUE) + r")\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class VagueWord:
    """A word in ``text[start:end]`` that tells the next reader little, and what to say instead."""

    word: str
    start: int
    end: int
    ask: str


def vague_words(text: str) -> tuple[VagueWord, ...]:
    """Relative words in a note, in order; "old" stays unmarked before "restoration", where it is the trade's term.

    Condition reports locate each exception and state its scope instead (guidance for loans, common practice).

    Examples
    --------
    >>> [(found.word, found.ask) for found in vague_words("Small chip at the rim")]
    [('Small', 'say how long, how wide or how many')]
    """
    found = (VagueWord(m.group(), m.start(), m.end(), VAGUE[m.group().lower()]) for m in _WORDS.finditer(text))
    terms = re.compile(r"\s+(restorations?|repairs?|joints?|fills?|breaks?|adhesives?|overpaint)\b", re.IGNORECASE)
    return tuple(v for v in found if not (v.word.lower() == "old" and terms.match(text, v.end)))


def parse_book(data: object) -> dict[int, Definitions]:
    """All versions of a book of definitions, by number.

    Raises
    ------
    ValueError
        What is missing, doubled or out of range, beginning with its place in the book.
    """
    versions = [_version(each) for each in _list(_mapping(data, "book"), "versions", "book")]
    numbers = [each.version for each in versions]
    if not versions or len(set(numbers)) != len(numbers):
        raise ValueError("book: versions must be there, each with a number of its own")
    return dict(zip(numbers, versions, strict=True))


def _version(data: object) -> Definitions:
    body = _mapping(data, "version")
    number = body.get("version")
    if not isinstance(number, int) or number < 1:
        raise ValueError("version: must have a number from 1")
    place = f"version {number}"
    stages = _terms(body, "stages", place)
    if len(stages) != STAGE_COUNT:
        raise ValueError(f"{place}: stages must be {STAGE_COUNT}, sound first")
    signs, findings = _mapping(body.get("signs"), f"{place} signs"), _mapping(body.get("findings"), f"{place} findings")
    axes = tuple(_axis(each, place) for each in _list(body, "axes", place))
    if tuple(axis.code for axis in axes) != AXES:
        raise ValueError(f"{place}: axes must be {', '.join(AXES)}")
    return Definitions(
        version=number,
        adopted=_text(body, "adopted", place),
        source=_text(body, "source", place),
        axes=axes,
        stages=stages,
        signs={thing: _signs(signs, thing, f"{place} signs") for thing in THINGS},
        findings={basis: _terms(findings, basis, f"{place} findings") for basis in BASES},
    )


def _axis(data: object, place: str) -> Axis:
    body = _mapping(data, f"{place} axis")
    code, name = _text(body, "code", place), _text(body, "name", place)
    wording = _mapping(body.get("grades"), f"{place} {code}")
    grades = tuple(Term(grade, grade.capitalize(), _text(wording, grade, f"{place} {code}")) for grade in GRADES)
    return Axis(code, name, _text(body, "question", f"{place} {code}"), grades)


def _signs(body: Mapping[str, Any], thing: str, place: str) -> tuple[SignTerm, ...]:
    made = []
    for term, data in zip(_terms(body, thing, place), _list(body, thing, place), strict=True):
        if not term.definition:
            raise ValueError(f"{place}: {term.code} must have a definition")
        floors = tuple(_floor(each, f"{place} {term.code}") for each in data.get("least_stage", ()))
        made.append(SignTerm(term.code, term.name, term.definition, floors))
    return tuple(made)


def _floor(data: object, place: str) -> Floor:
    body = _mapping(data, place)
    percent, stage = body.get("from_percent"), body.get("stage")
    if not isinstance(percent, int) or not 0 <= percent <= 100:
        raise ValueError(f"{place}: from_percent must be 0 to 100")
    if not isinstance(stage, int) or not 0 <= stage < STAGE_COUNT:
        raise ValueError(f"{place}: stage must be 0 to {STAGE_COUNT - 1}")
    return Floor(percent, stage)


def _terms(body: Mapping[str, Any], key: str, place: str) -> tuple[Term, ...]:
    terms = []
    for each in _list(body, key, place):
        item = _mapping(each, f"{place} {key}")
        terms.append(Term(_text(item, "code", place), _text(item, "name", place), str(item.get("definition", ""))))
    if len({term.code for term in terms}) != len(terms):
        raise ValueError(f"{place}: {key} holds a code twice")
    return tuple(terms)


def _mapping(data: object, place: str) -> Mapping[str, Any]:
    if not isinstance(data, Mapping):
        raise ValueError(f"{place}: must be a table of names and values")
    return data


def _list(body: Mapping[str, Any], key: str, place: str) -> list[Any]:
    if not isinstance(body.get(key), list):
        raise ValueError(f"{place}: {key} must be a list")
    return list(body[key])


def _text(body: Mapping[str, Any], key: str, place: str) -> str:
    value = body.get(key)
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"{place}: {key} must be said in words")
    return value
