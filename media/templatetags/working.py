"""Long work as pages show it. Apart from the look, which stands without any table."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context

from media.base.access import may_stop
from media.base.models import Job
from media.base.pages import leading_to

register = template.Library()


@register.inclusion_tag("media/parts/job.html", takes_context=True)
def job_panel(context: Context, job: Job, then: str, words: str = "") -> dict[str, Any]:
    """A job as it goes on, leading to the page ``then`` once it is done; with a way to stop it for who may."""
    return {
        "job": job,
        "job_href": leading_to("base:job", job.pk, then),
        "cancel_href": leading_to("base:cancel_job", job.pk, then) if may_stop(context["user"], job) else "",
        "then_href": then,
        "then_words": words,
        "csrf_token": context.get("csrf_token"),
    }
