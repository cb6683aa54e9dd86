"""The choices of a sorting into places."""

from __future__ import annotations

from typing import Any

from django import forms

from survey.register.placing import BETWEEN, KINDS, LONGEST_NAME, SEPARATORS, Choices

NONE = "none"
_SHOWN = {" / ": "slash between blanks", "/": "slash", " > ": "arrow", BETWEEN: "dot", ", ": "comma", ";": "semicolon"}
_SHOWN |= {" - ": "dash between blanks"}


class PlacingForm(forms.Form):
    site = forms.CharField(max_length=LONGEST_NAME, label="The site that all of it stands in")
    separator = forms.ChoiceField(
        choices=[(NONE, "Nothing: each is one place"), *((s, f"{s.strip()}   ({_SHOWN[s]})") for s in SEPARATORS)],
        label="Between the parts",
    )
    direction = forms.ChoiceField(
        choices=[("first", "The largest"), ("last", "The smallest")],
        label="First comes",
    )
    finest = forms.ChoiceField(
        choices=[("", "As its words say"), *((kind, f"A {kind}") for kind in KINDS[2:])],
        required=False,
        label="The smallest is",
    )

    @classmethod
    def begun(cls, choices: Choices) -> PlacingForm:
        """The form that holds these choices, as if they had been posted."""
        return cls(
            {
                "site": choices.site,
                "separator": choices.separator or NONE,
                "direction": "first" if choices.largest_first else "last",
                "finest": choices.finest,
            }
        )

    def choices(self, left: frozenset[str]) -> Choices:
        """What was chosen, with the texts to leave out."""
        told: dict[str, Any] = self.cleaned_data
        separator = "" if told["separator"] == NONE else told["separator"]
        site = " ".join(told["site"].split())
        return Choices(site, separator, told["direction"] == "first", told["finest"], left)
