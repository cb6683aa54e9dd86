"""People and passwords as forms."""

from __future__ import annotations

from django import forms

from media.base.models import Role


class NewPassword(forms.Form):
    password = forms.CharField(
        max_length=128,
        min_length=12,
        label="Password",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 12 characters; four ordinary words are good.",
    )


class PersonForm(forms.Form):
    first_name = forms.CharField(max_length=150, label="First name")
    last_name = forms.CharField(max_length=150, label="Last name")
    role = forms.ChoiceField(choices=Role.choices, label="May do the work of a")
    is_active = forms.BooleanField(required=False, initial=True, label="May sign in")


class AddPersonForm(PersonForm):
    username = forms.SlugField(max_length=60, label="Signs in as", help_text="Letters, digits and hyphens")
    password = NewPassword.base_fields["password"]
    field_order = ["first_name", "last_name", "username", "role", "password"]
    is_active = None  # type: ignore[assignment]  # who is added may sign in
