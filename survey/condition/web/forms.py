"""Forms of the survey that are typed rather than touched."""

from __future__ import annotations

from django import forms


class RoundForm(forms.Form):
    """A survey round: what it is called, what it is for, when it began."""

    name = forms.CharField(max_length=200, help_text="As people will speak of it: Store 2, spring 2026")
    purpose = forms.CharField(
        required=False,
        max_length=2_000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Which decision the survey is for; what is recorded should serve it",
    )
    started_on = forms.DateField(label="First day", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
