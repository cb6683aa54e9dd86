"""Forms of the climate pages: a logger's file, how it is read, where it stood, and a place's class."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from survey.register.db.models import Place
from survey.register.db.selectors.places import ABOVE_SHELVES
from survey.risk.ageing import SITE_CLIMATES
from survey.risk.db.selectors.loggers import Stay
from survey.risk.logger_layout import Layout
from survey.risk.stamps import ORDERS

MOVES = 3


class WhereField(forms.ModelChoiceField):
    """Rooms, bays and larger places in walking order, by their full names."""

    def __init__(self, **options: Any) -> None:
        super().__init__(Place.objects.filter(kind__in=ABOVE_SHELVES).order_by("path"), **options)

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.full_name} ({obj.get_kind_display().lower()})"


class UploadForm(forms.Form):
    file = forms.FileField(
        label="The logger's file", help_text="CSV or text with a date, a temperature and a humidity in each row"
    )
    place = WhereField(label="Where did it stand?", empty_label="Choose a place")


class LayoutForm(forms.Form):
    """Which column is what, how it is written, and where the logger stood when."""

    stamp = forms.TypedChoiceField(coerce=int, label="Date, or date and time")
    clock = forms.TypedChoiceField(coerce=int, label="Time of day, if apart")
    temperature = forms.TypedChoiceField(coerce=int, label="Temperature")
    humidity = forms.TypedChoiceField(coerce=int, label="Relative humidity")
    unit = forms.ChoiceField(choices=[("c", "Degrees Celsius"), ("f", "Degrees Fahrenheit")], label="Degrees are")
    decimal = forms.ChoiceField(choices=[(".", "20.5"), (",", "20,5")], label="Decimals are written")
    order = forms.ChoiceField(choices=list(ORDERS.items()), label="Dates are written")
    place = WhereField(label="It stood in", empty_label="Choose a place")

    def __init__(self, layout: Layout, stays: Sequence[Stay], data: Any = None) -> None:
        super().__init__(data, initial=_initial(layout, stays))
        self.layout = layout
        columns = [(place, name or f"column {place + 1}") for place, name in enumerate(layout.headings)]
        for name in ("stamp", "temperature", "humidity"):
            self.fields[name].choices = columns  # type: ignore[attr-defined]  # a choice field has them
        self.fields["clock"].choices = [(-1, "in the same column"), *columns]  # type: ignore[attr-defined]  # likewise
        for number in range(1, MOVES + 1):
            self.fields[f"since_{number}"] = forms.DateField(
                required=False, label="From", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
            )
            self.fields[f"place_{number}"] = WhereField(
                required=False, label="in", empty_label="no place: not to be counted"
            )

    @property
    def columns(self) -> list[forms.BoundField]:
        return [self[name] for name in ("stamp", "clock", "temperature", "humidity", "unit", "decimal", "order")]

    @property
    def moves(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"since_{number}"], self[f"place_{number}"]) for number in range(1, MOVES + 1)]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        for number in range(1, MOVES + 1):
            if values.get(f"place_{number}") and not values.get(f"since_{number}"):
                self.add_error(f"since_{number}", "Say from which day it stood there.")
        return values

    @property
    def reading(self) -> dict[str, Any]:
        """The layout as chosen. Of a valid form."""
        values = self.cleaned_data
        chosen = {name: values[name] for name in ("stamp", "clock", "temperature", "humidity", "decimal", "order")}
        return {**self.layout.as_saved(), **chosen, "fahrenheit": values["unit"] == "f"}

    @property
    def stays(self) -> list[tuple[Place | None, date | None]]:
        """Where it stood, in order. Of a valid form."""
        values = self.cleaned_data
        found: list[tuple[Place | None, date | None]] = [(values["place"], None)]
        for number in range(1, MOVES + 1):
            if values[f"since_{number}"]:
                found.append((values[f"place_{number}"], values[f"since_{number}"]))
        return found


def _initial(layout: Layout, stays: Sequence[Stay]) -> dict[str, Any]:
    held: dict[str, Any] = {name: getattr(layout, name) for name in ("stamp", "clock", "temperature", "humidity")}
    held |= {"unit": "f" if layout.fahrenheit else "c", "decimal": layout.decimal, "order": layout.order}
    for number, stay in enumerate(stays[: MOVES + 1]):
        held["place" if number == 0 else f"place_{number}"] = stay.place
        if number:
            held[f"since_{number}"] = stay.since
    return held


class ClassForm(forms.Form):
    climate = forms.ChoiceField(required=False, label="Class of climate")

    def __init__(self, *args: Any, root: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        nothing = "as scoring takes it where none is set" if root else "as the place around it"
        classes = [(site.code, site.name) for site in SITE_CLIMATES.values()]
        self.fields["climate"].choices = [("", nothing), *classes]  # type: ignore[attr-defined]  # a choice field has them
