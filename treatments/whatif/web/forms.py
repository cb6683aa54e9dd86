"""A scenario, and what may give way, as forms."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django import forms

from survey.register.db.models import MilestoneKind
from treatments.options.steps import SKILL_WORDS, SKILLS
from treatments.whatif.db.services import MOST_HOURS, MOST_WEEKS

MOST_TEXT = 20_000
UP_TO = [(0, "nothing by importance"), (1, "importance 1"), (2, "importance 1 and 2"), (3, "importance 1 to 3")]
MOVABLE = ("photography", "mount_making", "case_closing", "opening")


class DayInput(forms.DateInput):
    input_type = "date"


class ScenarioForm(forms.Form):
    """What is thought of. Nothing in the record changes by it."""

    optional = "if wanted"
    name = forms.CharField(max_length=80, label="Name", initial="Scenario")
    weeks = forms.IntegerField(required=False, min_value=1, max_value=MOST_WEEKS, label="One more person for weeks")
    since = forms.DateField(required=False, widget=DayInput, label="From")
    hours = forms.FloatField(
        required=False, min_value=0.25, max_value=MOST_HOURS, initial=24, label="Hours a week at the bench"
    )
    skills = forms.MultipleChoiceField(
        required=False, choices=[(code, SKILL_WORDS[code].capitalize()) for code in SKILLS], initial=list(SKILLS),
        label="Who can", widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip
    drop = forms.CharField(
        required=False, max_length=MOST_TEXT, widget=forms.Textarea(attrs={"rows": 2}), label="Leave out (numbers)",
        help_text="Accession numbers, one a line or with commas between.",
    )  # fmt: skip
    drop_upto = forms.TypedChoiceField(required=False, coerce=int, choices=UP_TO, label="Leave out also",
        help_text="Only what need not be ready: what must not be lifted stays.")  # fmt: skip
    simplify = forms.CharField(
        required=False, max_length=MOST_TEXT, widget=forms.Textarea(attrs={"rows": 2}),
        label="Treat one level lighter (numbers)",
    )  # fmt: skip
    simplify_upto = forms.TypedChoiceField(required=False, coerce=int, choices=UP_TO, label="One level lighter also")
    milestone = forms.ChoiceField(
        required=False, label="Move a date",
        choices=[("", "none"), *((kind, str(MilestoneKind(kind).label)) for kind in MOVABLE)],
    )  # fmt: skip
    to = forms.DateField(required=False, widget=DayInput, label="To")
    make_good = forms.BooleanField(
        required=False, label="Make good after the opening",
        help_text="What is meant for making good is taken down and rejoined before, filled and retouched after.",
    )  # fmt: skip

    def __init__(self, *args: Any, numbers: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.keys = {number.casefold(): key for key, number in numbers.items()}

    def _objects(self, text: str) -> list[str]:
        found, unknown = [], []
        for number in filter(None, (part.strip() for part in re.split(r"[,;\n]", text))):
            key = self.keys.get(number.casefold())
            if key is None:
                unknown.append(number)
            elif key not in found:
                found.append(key)
        if unknown:
            more = f" and {len(unknown) - 3} more" if len(unknown) > 3 else ""
            raise forms.ValidationError(f"Not on the checklist: {', '.join(n[:40] for n in unknown[:3])}{more}.")
        return found

    def clean_drop(self) -> list[str]:
        return self._objects(self.cleaned_data["drop"])

    def clean_simplify(self) -> list[str]:
        return self._objects(self.cleaned_data["simplify"])

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("weeks"):
            for field, words in (("since", "Say from which day."), ("hours", "Say how many hours a week.")):
                if not said.get(field) and field not in self.errors:
                    self.add_error(field, words)
            if not said.get("skills") and "skills" not in self.errors:
                self.add_error("skills", "Choose at least one skill.")
        if bool(said.get("milestone")) != bool(said.get("to")) and "to" not in self.errors:
            self.add_error("to", "A date to move needs both: which, and to what day.")
        return said

    def changes(self) -> dict[str, Any]:
        """What the service takes."""
        said = self.cleaned_data
        found: dict[str, Any] = {
            "drop": said["drop"], "drop_upto": said["drop_upto"] or 0, "simplify": dict.fromkeys(said["simplify"], 1),
            "simplify_upto": said["simplify_upto"] or 0, "make_good": said["make_good"],
        }  # fmt: skip
        if said.get("weeks"):
            since = said["since"].isoformat()
            found["person"] = {"weeks": said["weeks"], "since": since, "hours": said["hours"], "skills": said["skills"]}
        if said.get("milestone"):
            found["dates"] = {said["milestone"]: said["to"].isoformat()}
        return found


class LeastForm(forms.Form):
    """Which chance is to be reached, and what may give way for it."""

    target = forms.IntegerField(min_value=1, max_value=99, initial=90, label="Chance to reach, %")
    measure = forms.ChoiceField(
        label="that", choices=[("opening", "all is ready on opening day"), ("dates", "everything meets all its dates")]
    )
    allowed = forms.MultipleChoiceField(
        choices=[
            ("make_good", "Make good after the opening"), ("simplify", "Treat lighter"), ("drop", "Leave objects out"),
            ("mandatory", "Also with what must be ready"),
        ],
        initial=["make_good", "simplify", "drop"], label="What may give way", widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip
