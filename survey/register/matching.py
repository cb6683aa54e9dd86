"""Which column of a register is which field: guessed with reasons, corrected by a person, remembered per source."""

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from survey.register.dates import parse_day, parse_year
from survey.register.fields import BY_NAME, FIELDS, Field
from survey.register.table import Row, plain
from survey.register.units import LENGTHS, WEIGHTS, decimal_mark_of, unit_in

SURE_ENOUGH = 0.55
_FILLERS = frozenset(
    ["item", "object", "obj", "the", "of", "artifact", "artefact", "artwork", "work", "thing", "value"]
)
_OF_SOMETHING_ELSE = frozenset(
    [
        "artist",
        "maker",
        "creator",
        "author",
        "manufacturer",
        "photographer",
        "donor",
        "lender",
        "owner",
        "user",
        "person",
        "culture",
        "nationality",
        "birth",
        "death",
        "born",
        "died",
        "role",
        "image",
        "photo",
        "file",
        "url",
        "link",
        "rights",
        "licence",
        "license",
        "copyright",
        "provenance",
        "exhibition",
        "valuation",
        "insurance",
        "price",
        "frame",
        "mount",
        "modified",
        "updated",
        "entered",
        "cataloguer",
        "kunstler",
        "hersteller",
        "artiste",
        "auteur",
        "autor",
        "autore",
    ]
)
_UNIT_WORDS = frozenset({"in", "inch", "inches", "cm", "mm", "m", "ft", "kg", "g", "lb", "lbs", "oz"})


@dataclass(frozen=True)
class Guess:
    """One column taken for one field: how sure (0 to 1), and why, in words."""

    field: str
    column: str
    confidence: float
    reason: str


@dataclass(frozen=True)
class Matching:
    """How a register's columns are read. Made by `guess_columns` or `remembered`, changed by `corrected`.

    Attributes
    ----------
    header : tuple of str
    guesses : tuple of Guess
        At most one per field and one per column, in the order of the fields.
    units : dict of field to unit
        Unit of each size column; a field without one is asked for unless each value carries its unit.
    zero_is_missing : bool
        Whether 0 in a size column means "not recorded".
    decimal : "." or "," or None
        Decimal mark of the size columns.
    questions : tuple of str
        What a person should answer before importing, seen in the sample.
    """

    header: tuple[str, ...]
    guesses: tuple[Guess, ...]
    units: Mapping[str, str] = field(default_factory=dict)
    zero_is_missing: bool = False
    decimal: str | None = None
    questions: tuple[str, ...] = ()

    @property
    def columns(self) -> dict[str, str]:
        """Field to heading."""
        return {guess.field: guess.column for guess in self.guesses}

    @property
    def missing(self) -> tuple[str, ...]:
        """Labels of required fields that no column fills."""
        return tuple(f.label for f in FIELDS if f.required and f.name not in self.columns)

    @property
    def unused(self) -> tuple[str, ...]:
        """Headings that no field takes."""
        used = set(self.columns.values())
        return tuple(name for name in self.header if name not in used)

    def position(self, field_name: str) -> int | None:
        """Where a field's column stands, from 0."""
        column = self.columns.get(field_name)
        return None if column is None else self.header.index(column)

    def corrected(
        self,
        columns: Mapping[str, str | None] | None = None,
        *,
        units: Mapping[str, str | None] | None = None,
        zero_is_missing: bool | None = None,
        decimal: str | None = None,
        sample: Sequence[Row] = (),
    ) -> "Matching":
        """A person's corrections over the guesses. A field given None has no column; a column given away moves.

        Raises ValueError naming a field, column or unit that does not exist, or a column given to two fields.
        """
        chosen = _checked_columns(columns or {}, self.header)
        taken = {column for column in chosen.values() if column}
        kept = [g for g in self.guesses if g.field not in chosen and g.column not in taken]
        given = [Guess(name, column, 1.0, "chosen by a person") for name, column in chosen.items() if column]
        changed = {**self.units, **_checked_units(units or {})}
        return _asked(
            replace(
                self,
                guesses=_in_order([*kept, *given]),
                units={name: unit for name, unit in changed.items() if unit},
                zero_is_missing=self.zero_is_missing if zero_is_missing is None else zero_is_missing,
                decimal=_checked_decimal(decimal) or self.decimal,
            ),
            sample,
        )

    def to_saved(self) -> dict[str, Any]:
        """What to remember for the next file of this source: plain JSON."""
        return {
            "columns": self.columns,
            "units": dict(self.units),
            "zero_is_missing": self.zero_is_missing,
            "decimal": self.decimal,
        }


def header_fingerprint(header: Iterable[str]) -> str:
    """The same for the same set of headings, whatever their order, case and accents: 64 hexadecimal digits."""
    return hashlib.sha256(json.dumps(sorted(plain(name) for name in header)).encode()).hexdigest()


def remembered(header: Sequence[str], saved: Mapping[str, Any], sample: Sequence[Row] = ()) -> Matching:
    """The matching of an earlier file, for a file with the same headings. ValueError if a heading is gone."""
    named = {plain(name): name for name in header}
    gone = [column for column in saved["columns"].values() if plain(column) not in named]
    if gone:
        raise ValueError(f"saved names columns that this file does not have: {', '.join(gone)}")
    guesses = [
        Guess(name, named[plain(column)], 1.0, "as at the last import from this source")
        for name, column in _checked_fields(saved["columns"]).items()
    ]
    units = {name: unit for name, unit in _checked_units(saved.get("units", {})).items() if unit}
    zero_is_missing, decimal = bool(saved.get("zero_is_missing")), _checked_decimal(saved.get("decimal"))
    return _asked(Matching(tuple(header), _in_order(guesses), units, zero_is_missing, decimal), sample)


def guess_columns(header: Sequence[str], sample: Sequence[Row] = ()) -> Matching:
    """Guess the field of each column from its heading, and from what its values look like in a sample.

    Parameters
    ----------
    header : sequence of str
    sample : sequence of Row
        Some rows of the same table; without them the headings alone decide.

    Returns
    -------
    Matching
        Nothing is guessed below a confidence of 0.55, but for the accession number, which every register has: if no
        heading names it, the column whose values all differ and hold digits is proposed, and said to be so.
    """
    header = tuple(header)
    values = {name: _column_values(sample, i) for i, name in enumerate(header)}
    scored = [
        guess for f in FIELDS for column in header for guess in [_guess(f, column, values[column])] if guess is not None
    ]
    scored.sort(key=lambda g: (-g.confidence, list(BY_NAME).index(g.field), header.index(g.column)))
    guesses: list[Guess] = []
    for guess in scored:
        if all(guess.field != g.field and guess.column != g.column for g in guesses):
            guesses.append(guess)
    guesses = _with_number(guesses, header, values)
    units = {g.field: unit for g in guesses for unit in [_unit(BY_NAME[g.field], g.column)] if unit is not None}
    lengths = [text for g in guesses if BY_NAME[g.field].kind in ("length", "weight") for text in values[g.column]]
    return _asked(Matching(header, _in_order(guesses), units, decimal=decimal_mark_of(lengths)), sample)


def _column_values(sample: Sequence[Row], position: int) -> list[str]:
    return [text for row in sample for text in [row.values[position].strip()] if text]


def _words(heading: str) -> list[str]:
    """The words of a heading: camel case and underscores apart, no unit in brackets, plain."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading)
    apart = re.sub(r"[(\[][^)\]]*[)\]]", " ", apart)
    return re.findall(r"[^\W_]+", plain(apart))


def _guess(wanted: Field, column: str, values: list[str]) -> Guess | None:
    confidence, reason = _heading_fit(wanted, _words(column))
    if confidence < SURE_ENOUGH:
        return None
    factor, remark = _values_fit(wanted, values)
    confidence = round(confidence * factor, 3)
    return Guess(wanted.name, column, confidence, reason + remark) if confidence >= SURE_ENOUGH else None


def _heading_fit(wanted: Field, words: list[str]) -> tuple[float, str]:
    """How well a heading names a field, and why. Earlier headings of a field are its commoner ones."""
    if len(words) > 1 and words[-1] in _UNIT_WORDS:
        words = words[:-1]
    bare = [word for word in words if word not in _FILLERS]
    best, reason = 0.0, ""
    for rank, heading in enumerate(wanted.headings):
        parts = heading.split()
        later = min(rank, 40) * 0.002
        if words == parts:
            fit = 0.98 - later
        elif bare and bare == parts:
            fit = 0.9 - later
        elif _holds(words, parts) and not _OF_SOMETHING_ELSE & set(words) and len(heading) > 2:
            fit = 0.55 + 0.3 * len(parts) / len(words) - later
        else:
            continue
        if fit > best:
            best, reason = fit, f"the heading {'says' if fit > 0.85 else 'holds'} “{heading}”"
    return best, reason


def _holds(words: list[str], parts: list[str]) -> bool:
    return any(words[i : i + len(parts)] == parts for i in range(len(words) - len(parts) + 1))


def _values_fit(wanted: Field, values: list[str]) -> tuple[float, str]:
    """A factor on the confidence, and a remark, from what the values look like."""
    if not values:
        return 1.0, ""
    if wanted.kind == "number":
        differ = len(set(values)) / len(values)
        return (1.0, ", and its values all differ") if differ == 1 else (differ**3, ", but some values occur twice")
    tests = {
        "length": lambda text: bool(re.match(r"\D{0,4}\d", text)),
        "weight": lambda text: bool(re.match(r"\D{0,4}\d", text)),
        "year": lambda text: parse_year(text) is not None,
        "day": lambda text: parse_day(text) is not None or bool(re.search(r"\d{4}", text)),
    }
    if wanted.kind not in tests:
        return 1.0, ""
    share = sum(map(tests[wanted.kind], values)) / len(values)
    what = {"length": "sizes", "weight": "weights", "year": "years", "day": "dates"}[wanted.kind]
    return (1.0, f", and its values are {what}") if share > 0.8 else (0.4 + 0.6 * share, f", but few values are {what}")


def _with_number(guesses: list[Guess], header: tuple[str, ...], values: dict[str, list[str]]) -> list[Guess]:
    """If no heading names the accession number, propose the first column whose values can be one."""
    if any(g.field == "accession_number" for g in guesses):
        return guesses
    rows = max((len(v) for v in values.values()), default=0)
    named = {g.column: g for g in guesses}
    free = [c for c in header if c not in named] + [c for c in header if c in named and named[c].field == "source_id"]
    for column in free:
        texts = values[column]
        if rows > 1 and len(set(texts)) == rows and all(len(t) <= 60 and re.search(r"\d", t) for t in texts):
            reason = "no heading names it; in this column every value differs and holds a digit"
            return [g for g in guesses if g.column != column] + [Guess("accession_number", column, 0.4, reason)]
    return guesses


def _unit(wanted: Field, column: str) -> str | None:
    units = {"length": LENGTHS, "weight": WEIGHTS}.get(wanted.kind)
    return None if units is None else unit_in(column, units)


def _in_order(guesses: Iterable[Guess]) -> tuple[Guess, ...]:
    order = list(BY_NAME)
    return tuple(sorted(guesses, key=lambda g: order.index(g.field)))


def _asked(matching: Matching, sample: Sequence[Row]) -> Matching:
    """The matching with what is still to be asked about it."""
    questions = [f"Which column is the {label.lower()}?" for label in matching.missing]
    zeros = []
    for guess in matching.guesses:
        kind = BY_NAME[guess.field].kind
        if kind not in ("length", "weight"):
            continue
        values = _column_values(sample, matching.header.index(guess.column))
        if guess.field not in matching.units and any(re.fullmatch(r"[\d.,\s/]+", text) for text in values):
            questions.append(f"Which unit is “{guess.column}” in?")
        zeros += [guess.column for text in values if re.fullmatch(r"0+([.,]0*)?", text)]
    if zeros and not matching.zero_is_missing:
        columns = ", ".join(f"“{name}”" for name in dict.fromkeys(zeros))
        questions.append(f"{len(zeros)} sizes of 0 stand in {columns}: does 0 mean “not recorded”?")
    return replace(matching, questions=tuple(questions))


def _checked_fields(columns: Mapping[str, Any]) -> dict[str, Any]:
    for name in columns:
        if name not in BY_NAME:
            raise ValueError(f"columns names a field that does not exist: {name}")
    return dict(columns)


def _checked_columns(columns: Mapping[str, str | None], header: tuple[str, ...]) -> dict[str, str | None]:
    taken: dict[str, str] = {}
    for name, column in _checked_fields(columns).items():
        if column is None:
            continue
        if column not in header:
            raise ValueError(f"columns names a heading that the file does not have: {column}")
        if column in taken:
            raise ValueError(f"columns gives “{column}” to two fields: {taken[column]} and {name}")
        taken[column] = name
    return dict(columns)


def _checked_units(units: Mapping[str, str | None]) -> dict[str, str | None]:
    for name, unit in units.items():
        known = {"length": LENGTHS, "weight": WEIGHTS}.get(BY_NAME[name].kind if name in BY_NAME else "", {})
        if unit is not None and unit not in known:
            raise ValueError(f"units gives {name} a unit it cannot have: {unit}")
    return dict(units)


def _checked_decimal(decimal: str | None) -> str | None:
    if decimal not in (None, ".", ","):
        raise ValueError("decimal must be “.” or “,”")
    return decimal
