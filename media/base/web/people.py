"""Pages of the people who sign in."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from media.base import people as services
from media.base.access import SignedIn, permitted
from media.base.errors import FettleError
from media.base.models import User
from media.base.web.forms import AddPersonForm, NewPassword, PersonForm

BAD = 422


@require_GET
@permitted("people.write")
def people(request: SignedIn) -> HttpResponse:
    return render(request, "media/people.html", {"people": services.everybody()})


@require_http_methods(["GET", "POST"])
@permitted("people.write")
def person_new(request: SignedIn) -> HttpResponse:
    form = AddPersonForm(request.POST or None)
    if form.is_valid():
        values = {**form.cleaned_data}
        try:
            made = services.add_person(values, values.pop("password"), by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{made.shown} may sign in as {made.username}. Tell them the password yourself.")
            return redirect("base:people")
    return _page(request, form, "Who is to sign in?", "Let them sign in")


@require_http_methods(["GET", "POST"])
@permitted("people.write")
def person_edit(request: SignedIn, pk: int) -> HttpResponse:
    row = services.person(pk)
    known = {name: getattr(row, name) for name in services.FIELDS}
    form = PersonForm(request.POST or None, initial=known)
    if form.is_valid():
        try:
            services.change_person(row, form.cleaned_data, by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error(None, error.message)
        else:
            messages.success(request, f"{row.shown}: kept.")
            return redirect("base:people")
    return _page(request, form, f"What may {row.shown} do?", "Keep", person=row)


@require_http_methods(["GET", "POST"])
@permitted("people.write")
def person_password(request: SignedIn, pk: int) -> HttpResponse:
    row, form = services.person(pk), NewPassword(request.POST or None)
    if form.is_valid():
        try:
            services.new_password(row, form.cleaned_data["password"], by=request.user, at=timezone.now())
        except FettleError as error:
            form.add_error("password", error.message)
        else:
            messages.success(request, f"{row.shown} has a new password. Tell them yourself.")
            return redirect("base:people")
    return _page(request, form, f"A new password for {row.shown}", "Give the new password")


@require_http_methods(["GET", "POST"])
@permitted("overview.read")
def own_password(request: SignedIn) -> HttpResponse:
    """One's own password, by saying the old one."""
    form = PasswordChangeForm(request.user, request.POST or None)
    if form.is_valid():
        services.new_password(request.user, form.cleaned_data["new_password1"], by=request.user, at=timezone.now())
        update_session_auth_hash(request, request.user)
        messages.success(request, "Your password is changed.")
        return redirect("overview:today")
    return _page(request, form, "A new password for you", "Change my password", back="/")


def _page(
    request: SignedIn, form: forms.Form, heading: str, action: str, *, person: User | None = None, back: str = ""
) -> HttpResponse:
    context = {"form": form, "heading": heading, "action": action, "person": person, "back": back}
    return render(request, "media/person.html", context, status=BAD if form.is_bound else 200)
