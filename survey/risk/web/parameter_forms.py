"""Tables of assumed values as forms: a person writes numbers in their units, each with its grounds beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms

from survey.risk.adhesives import NAMES
from survey.risk.entries import LOOKING_KINDS, Entry, Value, entries

NONE = "none"


@dataclass(frozen=True)
class Table:
    """One page of settings: its entries are those of ``group``."""

    code: str
    name: str
    question: str
    about: str

    @property
    def group(self) -> str:
        return self.code.replace("-", ".", 1).replace("-", "_") if self.code.startswith("evidence") else self.code

    @property
    def entries(self) -> list[Entry]:
        return [each for each in entries().values() if each.group == self.group]


_SHARES = (
    "For each adhesive, how often each outcome is seen on it. Numbers count against each other within one adhesive and "
    "are brought to 100 %; none may be nought, since no single look excludes an adhesive."
)
_QUESTIONS = {
    "look": "What does the look of a joint say?",
    "uv": "What does fluorescence say?",
    "solvent": "What does a solvent swab say?",
    "nitrate_test": "What does the spot test for nitrate say?",
    "protein_test": "What does the spot test for protein say?",
}
TABLES: tuple[Table, ...] = (
    Table("climate", "Climate and ageing", "How much faster does a joint age when it is warm and damp?",
          "Rates follow the Arrhenius law times a power of humidity. No law for a joint in ceramics is published."),
    Table("pace", "How long joints last", "How long do cellulose nitrate joints last?",
          "Published lives differ by a factor of ten. The three beliefs are the 5, 50 and 95 % points of one wide one, "
          "which your own visits move."),
    Table("adhesives", "Adhesives", "What is each adhesive taken to be?",
          "How often it is met before anything is seen, when it was used, how fast and at what load it fails."),
    Table("naming", "Findings that name an adhesive", "How often is a named adhesive the right one?",
          "A wrong name falls on each other adhesive alike."),
    *(Table(f"evidence-{code.replace('_', '-')}", name, _QUESTIONS[code], _SHARES)
      for code, name in LOOKING_KINDS.items()),
    Table("sharing", "What joints share", "How far do joints of one hand share their fate?",
          "Adhesive and pace are shared within a restoration and, less, within a workshop. Doubt widens intervals."),
    Table("loads", "Moves and strength", "What does a move do to a joint?",
          "Peak acceleration of each move, as a multiple of gravity, against the strength that each stage leaves."),
    Table("covariates", "What speeds a joint up", "What makes one joint fail sooner than another?",
          "Each factor multiplies the rate of the joints that it holds for. 1 leaves it out."),
    Table("bands", "Bands and thresholds", "Where do the bands begin?",
          "Rules on signs set the bands; these numbers say where they begin and how sure an order must be."),
)  # fmt: skip
BY_CODE: Mapping[str, Table] = {table.code: table for table in TABLES}


@dataclass(frozen=True)
class Line:
    """One entry in its form."""

    entry: Entry
    label: str
    field: forms.BoundField
    shipped: str
    changed: bool
    said: bool


@dataclass(frozen=True)
class Section:
    """Entries that stand together, under the name of what they are about."""

    name: str
    lines: list[Line]

    @property
    def changed(self) -> int:
        return sum(line.changed for line in self.lines)


class TableForm(forms.Form):
    """The entries of one table. ``values`` are all values as they are now; what is written replaces them."""

    def __init__(self, table: Table, values: Mapping[str, Value], data: Any = None) -> None:
        super().__init__(data, initial={each.path: _written(each, values[each.path]) for each in table.entries})
        self.table, self.now = table, values
        for each in table.entries:
            self.fields[each.path] = _field(each)

    def clean(self) -> dict[str, Any]:
        written = super().clean() or {}
        for each in self.table.entries:
            if each.path in written:
                try:
                    written[each.path] = self._taken(each, written[each.path])
                except ValueError as error:
                    self.add_error(each.path, f"{str(error).removeprefix(each.path).strip().capitalize()}.")
        return written

    def _taken(self, each: Entry, text: str) -> Value:
        now = self.now[each.path]
        if text.strip() == _written(each, now):  # untouched: digits beyond those shown are kept
            return now
        if each.choices or each.text:
            return each.taken(text)
        if each.empty and text.strip().lower() in {"", NONE}:
            return None
        return each.taken(_number(each, text))

    @property
    def values(self) -> dict[str, Value]:
        """All values, with those of this table as written. Of a valid form."""
        return {**self.now, **self.cleaned_data}

    @property
    def sections(self) -> list[Section]:
        """The entries by what they are about: each adhesive, each finding, or all together."""
        found: dict[str, list[Line]] = {}
        for each in self.table.entries:
            name, label = _about(self.table, each)
            said = name == "" and each.grounds != self._grounds_before(found.get(name))
            line = Line(
                each, label, self[each.path], each.shown(each.shipped), self.now[each.path] != each.shipped, said
            )
            found.setdefault(name, []).append(line)
        return [Section(name, lines) for name, lines in found.items()]

    @staticmethod
    def _grounds_before(lines: list[Line] | None) -> str:
        return lines[-1].entry.grounds if lines else ""


def _about(table: Table, each: Entry) -> tuple[str, str]:
    """Under which name an entry stands, and what it is called there."""
    if each.text and each.path.startswith("evidence."):
        return "", "Grounds"
    if table.code.startswith("evidence"):
        _, _, outcome, adhesive = each.path.split(".")
        return NAMES[adhesive].capitalize(), outcome.replace("_", " ").capitalize()
    if table.code == "adhesives":
        return NAMES[each.path.split(".")[1]].capitalize(), each.name.partition(": ")[2].capitalize()
    return "", each.name


def _field(each: Entry) -> forms.Field:
    if each.choices:
        return forms.ChoiceField(choices=each.choices)
    if each.text:
        return forms.CharField(max_length=1_000, required=False, widget=forms.Textarea(attrs={"rows": 2}))
    return forms.CharField(
        max_length=40, required=not each.empty, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )


def _written(each: Entry, value: Value) -> str:
    """A value as the form holds it."""
    return str(value) if each.choices or each.text else each.shown(value)


def _number(each: Entry, text: str) -> float:
    """A number as written, with a point or a comma, in the unit shown."""
    bare = "".join(text.split()).replace(",", ".").removesuffix("%")
    try:
        return float(bare) / each.scale
    except ValueError:
        raise ValueError(f"{each.path} must be a number, such as {each.shown(each.shipped)}") from None


class AdoptForm(forms.Form):
    name = forms.CharField(max_length=120, label="Name of the set", help_text="Scores name it with its number.")
    reason = forms.CharField(
        max_length=2_000,
        label="Why",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What you know that the present value does not: whose survey, which paper.",
    )
