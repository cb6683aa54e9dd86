"""Sign-in, the progress of jobs, and a sign of life for whatever watches the server."""

from __future__ import annotations

import uuid

from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_GET, require_POST

from media.base import jobs
from media.base.access import SignedIn, open_to_all, permitted
from media.base.models import Job
from media.base.pages import page_or_part

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
    """One job's progress; its panel asks again every second until the job has ended."""
    row = get_object_or_404(Job.objects.select_related("asked_by"), pk=pk)
    return page_or_part(request, "media/job.html", "panel", {"job": row})


@require_POST
@permitted("jobs.read")
def cancel_job(request: SignedIn, pk: uuid.UUID) -> HttpResponse:
    jobs.cancel(pk)
    return redirect("base:job", pk=pk)
