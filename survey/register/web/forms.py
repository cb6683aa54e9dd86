"""Forms of the register: what a person types, checked for shape; the services check what must hold."""

from __future__ import annotations

from typing import Any

from django import forms

from survey.register.db.models import ChecklistEntry, Exhibition, MilestoneKind, Object, Place, PlaceKind
from survey.register.db.selectors.exhibitions import IN_ORDER
from survey.register.db.selectors.places import possible_parents
from survey.register.db.services.exhibitions import out_of_order
from survey.register.db.services.objects import FIELDS


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class PlaceChoice(forms.ModelChoiceField):
    """Places in walking order by their full names."""

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.full_name} ({obj.get_kind_display().lower()})"


class PlaceForm(forms.ModelForm):
    class Meta:
        model = Place
        fields = ["name", "kind", "climate"]
        labels = {"kind": "What is it?", "climate": "Class of climate"}
        help_texts = {"climate": "Leave empty if it is as in the place around it."}


class PlaceMoveForm(forms.Form):
    parent = PlaceChoice(
        Place.objects.none(), required=False, label="Put it inside", empty_label="Nothing: it stands for itself"
    )

    def __init__(self, place: Place, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["parent"].queryset = possible_parents(place.kind, apart_from=place)  # type: ignore[attr-defined]  # a model choice field has one


class ObjectForm(forms.ModelForm):
    class Meta:
        model = Object
        fields = list(FIELDS)
        labels = {
            "number": "Accession number",
            "body": "Ceramic body",
            "date_text": "Date, as written",
            "date_earliest": "Earliest year",
            "date_latest": "Latest year",
            "height_mm": "Height (mm)",
            "width_mm": "Width (mm)",
            "depth_mm": "Depth (mm)",
            "diameter_mm": "Diameter (mm)",
            "mass_kg": "Mass (kg)",
            "significance": "Significance to the collection",
            "restriction": "Restrictions",
            "place_text": "Place as the register says it",
        }
        help_texts = {
            "number": "",
            "body": "",
            "date_earliest": "",
            "date_latest": "",
            "significance": "1 little to 5 outstanding",
            "restriction": "Evidence to be kept, agreement needed before treatment: in words",
            "place_text": "",
        }
        widgets = {
            "title": forms.TextInput,
            "credit_line": forms.TextInput,
            "significance": forms.Select(choices=[("", "Not said"), *((n, str(n)) for n in range(1, 6))]),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        body = self.fields["body"]
        body.choices = [("", "Not known"), *body.choices[1:]]  # type: ignore[attr-defined]  # a choice field has them

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        for size in ("height_mm", "width_mm", "depth_mm", "diameter_mm", "mass_kg"):
            value = values.get(size)
            if value is not None and not 0 < value <= 20_000:
                self.add_error(size, "Write a size above 0 and up to 20 000, or leave it empty if it is not known.")
        earliest, latest = values.get("date_earliest"), values.get("date_latest")
        for name, year in (("date_earliest", earliest), ("date_latest", latest)):
            if year is not None and not -20_000 <= year <= 3_000:
                self.add_error(name, "Write a year, as 1860 or -500.")
        if earliest is not None and latest is not None and earliest > latest:
            self.add_error("date_latest", "The latest year is before the earliest: change one of the two.")
        if values.get("significance") is not None and not 1 <= values["significance"] <= 5:
            self.add_error("significance", "Choose 1 to 5.")
        return values

    def validate_unique(self) -> None:
        """Whether a number is taken is asked by its key, in the service."""


class MoveForm(forms.Form):
    place = PlaceChoice(
        Place.objects.order_by("path"), required=False, label="It now stands at", empty_label="Its place is not known"
    )
    reason = forms.CharField(max_length=300, required=False, label="Why it was moved")


class WithdrawForm(forms.Form):
    reason = forms.CharField(
        max_length=500, label="Why does it leave the register?", help_text="Returned to lender, transferred, lost"
    )


class ExhibitionForm(forms.ModelForm):
    """Name and place, and one date per milestone, named as its kind."""

    class Meta:
        model = Exhibition
        fields = ["name", "place_text"]
        labels = {"place_text": "Where"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind in IN_ORDER:
            self.fields[kind] = forms.DateField(
                required=False, widget=DayInput(), label=str(MilestoneKind(kind).label), help_text=HINTS[kind]
            )

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        if wrong := out_of_order({kind: values.get(kind) for kind in IN_ORDER}):
            raise forms.ValidationError(wrong)
        return values

    @property
    def dates(self) -> dict[str, Any]:
        return {kind: self.cleaned_data.get(kind) for kind in IN_ORDER}


HINTS: dict[str, str] = {
    MilestoneKind.PHOTOGRAPHY: "Objects must look finished by then",
    MilestoneKind.MOUNT_MAKING: "Objects must bear handling by then",
    MilestoneKind.CASE_CLOSING: "Objects must be ready by then",
    MilestoneKind.OPENING: "",
    MilestoneKind.END: "",
}


class EntryForm(forms.ModelForm):
    importance = forms.TypedChoiceField(
        coerce=int, choices=[(n, str(n)) for n in range(1, 6)], initial=3, label="Importance to the display",
        help_text="1 little to 5 carries the section",
    )  # fmt: skip

    class Meta:
        model = ChecklistEntry
        fields = ["section", "use", "need_by", "importance"]
        labels = {"use": "How it will be shown", "need_by": "Needed by"}
        help_texts = {"need_by": "Leave empty if case closing is soon enough."}
        widgets = {"need_by": DayInput()}


class AddEntryForm(EntryForm):
    number = forms.CharField(max_length=120, label="Accession number")
    field_order = ["number", "section", "use", "need_by", "importance"]


class ListForm(forms.Form):
    text = forms.CharField(
        required=False, widget=forms.Textarea(attrs={"rows": 12, "spellcheck": "false"}), label="Paste the numbers",
        help_text="One accession number to a line; or a table with headings: accession number, section, use, need-by, "
        "importance.",
    )  # fmt: skip
    file = forms.FileField(required=False, label="Or choose a file (CSV or text)")

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        upload = values.get("file")
        if upload and upload.size > 2_000_000:
            raise forms.ValidationError("The file is larger than 2 MB: split the list.")
        if upload:
            try:
                values["text"] = upload.read().decode("utf-8-sig")
            except UnicodeDecodeError as error:
                raise forms.ValidationError("The file is not text: save the list as CSV (UTF-8).") from error
        if not values.get("text", "").strip():
            raise forms.ValidationError("Paste accession numbers or choose a file.")
        return values


def kind_below(parent: Place | None) -> str:
    """The kind most likely to be added inside a place: the next smaller one."""
    kinds = list(PlaceKind.values)
    return kinds[min(kinds.index(parent.kind) + 1, len(kinds) - 1)] if parent else kinds[0]
