"""Choosing a level of treatment."""

from __future__ import annotations

from django import forms


class ChoiceForm(forms.Form):
    """How far to go, and why."""

    level = forms.SlugField(max_length=40)
    why = forms.CharField(max_length=500, required=False, label="Why this level")
    look_again_on = forms.DateField(required=False, label="Look again on")
