"""The form in which a person corrects how a register file is read."""

from __future__ import annotations

from typing import Any

from django import forms

from survey.register.db.services.imports import Reading
from survey.register.fields import FIELDS
from survey.register.units import LENGTHS, WEIGHTS

COLUMN = "column-"
LENGTH_FIELDS = tuple(field.name for field in FIELDS if field.kind == "length")
WEIGHT_FIELDS = tuple(field.name for field in FIELDS if field.kind == "weight")
UNIT_WORDS = {
    "mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "ft": "feet",
    "g": "grams", "kg": "kilograms", "lb": "pounds", "oz": "ounces",
}  # fmt: skip


def _units(units: Any) -> list[tuple[str, str]]:
    return [("", "as headings or values say"), *((unit, UNIT_WORDS[unit]) for unit in units)]


class UploadForm(forms.Form):
    file = forms.FileField(label="The registrar's file", help_text="CSV, text with tabs or semicolons, or .xlsx")


class MatchingForm(forms.Form):
    """One select per field of the register, and what else decides how rows are read."""

    source = forms.CharField(
        max_length=200, label="Which register is this?", help_text="Its next file will be read the same way."
    )
    length_unit = forms.ChoiceField(choices=_units(LENGTHS), required=False, label="Sizes are in")
    weight_unit = forms.ChoiceField(choices=_units(WEIGHTS), required=False, label="Weights are in")
    decimal = forms.ChoiceField(
        choices=[("", "told from each value"), (".", "12.5"), (",", "12,5")],
        required=False,
        label="Decimals are written",
    )
    zero_is_missing = forms.BooleanField(required=False, label="A size of 0 means “not recorded”")
    clear_blanks = forms.BooleanField(
        required=False,
        label="An empty cell empties what is recorded here",
        help_text="Otherwise it leaves it as it is.",
    )
    keep_column = forms.ChoiceField(required=False, label="Take only rows whose")
    keep_how = forms.ChoiceField(
        choices=[("contains", "contains one of"), ("equals", "is one of")], required=False, label="How"
    )
    keep_words = forms.CharField(max_length=500, required=False, label="Words, apart by commas")

    def __init__(self, reading: Reading, data: Any = None, *, options: dict[str, Any], source: str) -> None:
        super().__init__(data, initial=_initial(reading, options, source))
        headings = [(name, name) for name in reading.table.header]
        self.fields["keep_column"].choices = [("", "any column: take all rows"), *headings]  # type: ignore[attr-defined]  # a choice field has them
        for field in FIELDS:
            self.fields[COLUMN + field.name] = forms.ChoiceField(
                choices=[("", "no column"), *headings], required=False, label=field.label
            )

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        taken: dict[str, str] = {}
        for field in FIELDS:
            column = values.get(COLUMN + field.name)
            if column and column in taken:
                self.add_error(
                    COLUMN + field.name, f"“{column}” is {taken[column].lower()} already: choose one of the two."
                )
            elif column:
                taken[column] = field.label
        if not values.get(f"{COLUMN}accession_number") and f"{COLUMN}accession_number" not in self.errors:
            self.add_error(f"{COLUMN}accession_number", "Choose its column: objects are found by it.")
        if values.get("keep_column") and not self._words():
            self.add_error("keep_words", "Write the words that tell the rows to take.")
        return values

    def _words(self) -> list[str]:
        return [word.strip() for word in self.cleaned_data.get("keep_words", "").split(",") if word.strip()]

    @property
    def columns(self) -> dict[str, str]:
        """Field to heading, of the fields that have a column."""
        chosen = {field.name: self.cleaned_data.get(COLUMN + field.name) for field in FIELDS}
        return {name: column for name, column in chosen.items() if column}

    def options(self, reading: Reading) -> dict[str, Any]:
        """All else that is remembered with the source."""
        values = self.cleaned_data
        units = {name: unit for name, unit in reading.matching.units.items() if name in self.columns}
        for names, unit in ((LENGTH_FIELDS, values["length_unit"]), (WEIGHT_FIELDS, values["weight_unit"])):
            units |= {name: unit for name in names if unit and name in self.columns}
        keep = {"column": values["keep_column"], "how": values["keep_how"] or "contains", "words": self._words()}
        return {
            "units": units,
            "zero_is_missing": values["zero_is_missing"],
            "decimal": values["decimal"] or None,
            "blanks": "clear" if values["clear_blanks"] else "keep",
            "keep": keep if values["keep_column"] else None,
        }


def _initial(reading: Reading, options: dict[str, Any], source: str) -> dict[str, Any]:
    matching, kept = reading.matching, options.get("keep") or {}
    lengths = {matching.units.get(name) for name in LENGTH_FIELDS if name in matching.columns}
    weights = {matching.units.get(name) for name in WEIGHT_FIELDS if name in matching.columns}
    return {
        "source": source,
        "length_unit": (lengths.pop() or "") if len(lengths) == 1 else "",
        "weight_unit": (weights.pop() or "") if len(weights) == 1 else "",
        "decimal": matching.decimal or "",
        "zero_is_missing": matching.zero_is_missing,
        "clear_blanks": options.get("blanks") == "clear",
        "keep_column": kept.get("column", ""),
        "keep_how": kept.get("how", "contains"),
        "keep_words": ", ".join(kept.get("words", [])),
        **{COLUMN + name: column for name, column in matching.columns.items()},
    }
