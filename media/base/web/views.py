"""Sign-in, the progress of jobs, and a sign of life for whatever watches the server."""

from __future__ import annotations

import uuid

from django.contrib.auth.views import LoginView
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from media.base import jobs
from media.base.access import SignedIn, may_stop, open_to_all, permitted
from media.base.errors import NotThere
from media.base.models import Job, JobState
from media.base.pages import leading_to, page_or_part

sign_in = open_to_all("everybody signs in here")(
    LoginView.as_view(template_name="media/sign_in.html", redirect_authenticated_user=True)
)


@require_GET
@open_to_all("a watcher has no account; it learns nothing but that the server answers")
def alive(request: HttpRequest) -> HttpResponse:
    return JsonResponse({"alive": True})


@require_GET
@permitted("jobs.read")
def job(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """One job's progress; its panel asks again every second until the job has ended.

    ``?then=/path/`` names the page that shows what the job found; the panel goes there by itself.
    """
    row, then = _job(pk), _then(request)
    context = {
        "job": row,
        "job_href": leading_to("base:job", pk, then),
        "cancel_href": leading_to("base:cancel_job", pk, then) if may_stop(request.user, row) else "",
        "then_href": then,
    }
    response = page_or_part(request, "media/job.html", "panel", context)
    if then and row.state == JobState.DONE and request.htmx:
        response["HX-Redirect"] = then
    return response


@require_POST
@permitted("jobs.read")
def cancel_job(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    """Ask a job to end: whoever asked for it may, and whoever runs the work of others."""
    if not may_stop(request.user, _job(pk)):
        raise PermissionDenied
    jobs.cancel(pk)
    return redirect(leading_to("base:job", pk, _then(request)))


def _job(pk: uuid.UUID) -> Job:
    row = Job.objects.select_related("asked_by").filter(pk=pk).first()
    if row is None:
        raise NotThere("This job does not exist any more. What it made is shown where it was asked for.")
    return row


def _then(request: HttpRequest) -> str:
    """A page of our own to go on to; nothing for any other address."""
    then = request.GET.get("then", "")
    return then if then.startswith("/") and url_has_allowed_host_and_scheme(then, allowed_hosts=None) else ""
