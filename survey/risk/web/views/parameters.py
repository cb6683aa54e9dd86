"""What scoring assumes, to read for everybody and to change, by way of a draft, for the head of conservation."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from media.base.access import SignedIn, may, permitted
from media.base.errors import Clash, FettleError, NotThere
from media.base.pages import confirm, page_or_part
from survey.risk.db.models import Band, ParameterDraft
from survey.risk.db.selectors import parameters as selectors
from survey.risk.db.services import parameters as services
from survey.risk.db.services import score_again
from survey.risk.db.services.trying import MOST
from survey.risk.web.parameter_forms import BY_CODE, TABLES, AdoptForm, Table, TableForm

TEMPLATES = "survey/risk/settings"


@require_GET
@permitted("settings.read")
def parameters(request: SignedIn) -> HttpResponse:
    """Everything assumed, table by table, and who put it in force."""
    now = selectors.in_force()
    held = now.values if now else {}
    changed = {each.entry.path for each in selectors.differences({}, held)}
    tables = [(table, len(table.entries), sum(each.path in changed for each in table.entries)) for table in TABLES]
    context = {
        "set": now,
        "changed": len(changed),
        "tables": tables,
        "drafts": selectors.open_drafts(),
        "may_write": may(request.user, "settings.write"),
    }
    return render(request, f"{TEMPLATES}/parameters.html", context)


@require_http_methods(["GET", "POST"])
@permitted("settings.read")
def table(request: SignedIn, code: str) -> HttpResponse:
    """One table of values; what the head writes becomes a draft and is tried out."""
    found, draft = _table(code), _draft_of(request)
    now = selectors.in_force()
    held = draft.values if draft else now.values if now else {}
    if request.method == "POST":
        return _written(request, found, draft, held)
    form = TableForm(found, selectors.values_of(held))
    return _shown_table(request, form, draft)


def _written(request: SignedIn, found: Table, draft: ParameterDraft | None, held: dict[str, Any]) -> HttpResponse:
    """Take what was written into the draft, or begin one."""
    if not may(request.user, "settings.write"):
        raise FettleError("Only the head of conservation changes what scoring assumes.")
    values = selectors.values_of(held)
    form = TableForm(found, values, request.POST)
    if "shipped" in request.POST:
        wanted = {**values, **{each.path: each.shipped for each in found.entries}}
    elif form.is_valid():
        wanted = form.values
    else:
        return _shown_table(request, form, draft, status=422)
    try:
        if draft:
            draft = services.change_draft(draft, wanted, by=request.user, at=timezone.now())
        else:
            draft = services.begin_draft(wanted, by=request.user, at=timezone.now())
    except Clash:
        raise
    except FettleError as error:
        _place_error(form, error.message)
        return _shown_table(request, form, draft, status=422)
    return redirect("parameters:draft", pk=draft.pk)


def _place_error(form: TableForm, message: str) -> None:
    """Beside the field that it names, or above all."""
    named = message.split(" ")[0].rstrip(":")
    form.is_valid()
    if named in form.fields:
        form.add_error(named, message.removeprefix(named).strip().capitalize())
    else:
        form.add_error(None, message)


def _shown_table(
    request: SignedIn, form: TableForm, draft: ParameterDraft | None, *, status: int = 200
) -> HttpResponse:
    context = {"table": form.table, "form": form, "draft": draft, "may_write": may(request.user, "settings.write")}
    return render(request, f"{TEMPLATES}/table.html", context, status=status)


def _table(code: str) -> Table:
    if code not in BY_CODE:
        raise NotThere("There is no such table of values. Choose one of those listed.")
    return BY_CODE[code]


def _draft_of(request: SignedIn) -> ParameterDraft | None:
    """The draft that an address names, to be changed further."""
    named = request.GET.get("draft")
    if not named:
        return None
    try:
        return selectors.the_draft(uuid.UUID(named))
    except ValueError as error:
        raise NotThere("This address names no draft. Begin again from the tables.") from error


@require_GET
@permitted("settings.write")
def draft(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """What a draft would do to the ranking, before anybody decides."""
    return _shown_draft(request, selectors.the_draft(pk), AdoptForm(initial=_named(selectors.the_draft(pk))))


def _named(found: ParameterDraft) -> dict[str, str]:
    return {"name": f"As set {found.like.number}: {found.like.name}"[:120]} if found.like else {}


def _shown_draft(request: SignedIn, found: ParameterDraft, form: AdoptForm, *, status: int = 200) -> HttpResponse:
    now = selectors.in_force()
    context: dict[str, Any] = {
        "draft": found,
        "differences": selectors.differences(found.base.values, found.values),
        "overtaken": bool(now and now.pk != found.base_id),
        "set": now,
        "form": form,
        "effect": _effect(found),
        "job": found.job,
        "tables": TABLES,
        "most": MOST,
    }
    return render(request, f"{TEMPLATES}/draft.html", context, status=status)


def _effect(found: ParameterDraft) -> dict[str, Any] | None:
    """The effect with bands in words."""
    if found.effect is None:
        return None
    bands = [(Band(was).label, Band(new).label, count) for was, new, count in found.effect["bands"]]
    points = ["1" if shift < 0.01 else f"{100 * shift:.0f}" for shift in found.effect["chance_shift"]]
    return {**found.effect, "bands": bands, "points": points}


@require_POST
@permitted("settings.write")
def draft_again(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Work out anew what a draft does, against what is in force now."""
    services.try_again(selectors.the_draft(pk), by=request.user, at=timezone.now())
    return redirect("parameters:draft", pk=pk)


@require_POST
@permitted("settings.write")
def adopt(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Put a draft in force as a new set, with its name and reason; and score by it if asked."""
    found, form = selectors.the_draft(pk), AdoptForm(request.POST)
    if not form.is_valid():
        return _shown_draft(request, found, form, status=422)
    made = services.put_in_force(found, **form.cleaned_data, by=request.user, at=timezone.now())
    messages.success(request, f"Set {made} is in force. Scores made before say by which set they were made.")
    if "score" in request.POST:
        try:
            score_again(by=request.user, at=timezone.now())
        except Clash as error:
            messages.info(request, error.message)
        else:
            return redirect("risk:ranking")
    return redirect("parameters:set", number=made.number)


@require_http_methods(["GET", "POST"])
@permitted("settings.write")
def throw_away(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask, then drop a draft."""
    found = selectors.the_draft(pk)
    if request.method == "POST":
        services.throw_away(found, by=request.user, at=timezone.now())
        messages.success(request, "Thrown away. What is in force stays.")
        return redirect("parameters:parameters")
    count = len(selectors.differences(found.base.values, found.values))
    return confirm(
        request,
        "Throw this draft away?",
        consequences=[f"{count} changed value{'s' * (count != 1)} go.", f"Set {found.base} stays in force."],
        action="Throw draft away",
        back_href=reverse("parameters:draft", args=[pk]),
        danger=True,
    )


@require_GET
@permitted("settings.read")
def sets(request: SignedIn) -> HttpResponse:
    """All sets there were, with what each changed."""
    page = selectors.sets_page(after=request.GET.get("after"))
    return page_or_part(request, f"{TEMPLATES}/sets.html", "rows", {"page": page, "set": selectors.in_force()})


@require_GET
@permitted("settings.read")
def set_(request: SignedIn, number: int) -> HttpResponse:
    """One set: why, what it changed, what it differs in from the shipped values and from what is in force."""
    found, now = selectors.the_set(number), selectors.in_force()
    before = selectors.before_set(found)
    context = {
        "set": found,
        "now": now,
        "before": before,
        "changed": selectors.differences(before.values if before else {}, found.values),
        "from_shipped": selectors.differences({}, found.values),
        "from_now": selectors.differences(now.values, found.values) if now and now != found else [],
        "runs": selectors.runs_with(found),
        "may_write": may(request.user, "settings.write"),
    }
    return render(request, f"{TEMPLATES}/set.html", context)


@require_POST
@permitted("settings.write")
def set_again(request: SignedIn, number: int) -> HttpResponse:
    """Begin a draft that equals an older set."""
    found = selectors.the_set(number)
    made = services.begin_draft(found.values, by=request.user, at=timezone.now(), like=found)
    return redirect("parameters:draft", pk=made.pk)
