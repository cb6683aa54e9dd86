"""Choosing a level of treatment."""

from __future__ import annotations

from django import forms


class ChoiceForm(forms.Form):
    """How far to go, and why."""

    level = forms.SlugField(max_length=40)
    why = forms.CharField(max_length=500, required=False, label="Why this level")
    look_again_on = forms.DateField(required=False, label="Look again on")

    @property
    def complaint(self) -> str:
        """What is wrong, as one line."""
        wrong = [f"{self.fields[name].label or 'Level'}: {errors[0]}" for name, errors in self.errors.items()]
        return "Nothing was chosen. " + " ".join(wrong)


class TakeBackForm(forms.Form):
    """Which acceptance of suggestions is taken back: the moment at which it was made."""

    at = forms.DateTimeField(input_formats=["%Y-%m-%dT%H:%M:%S.%f%z", "%Y-%m-%dT%H:%M:%S%z"])
