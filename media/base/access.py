"""Who may do what. Every view says it; a view that does not fails the suite."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django_htmx.middleware import HtmxDetails

from media.base.models import Job, Role, User

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


class SignedIn(HttpRequest):
    """A request as a permitted view meets it: somebody is signed in and htmx is known."""

    user: User
    htmx: HtmxDetails


EVERYBODY = frozenset(Role)
WORKERS = frozenset({Role.SURVEYOR, Role.CONSERVATOR, Role.HEAD})
CONSERVATORS = frozenset({Role.CONSERVATOR, Role.HEAD})
HEADS = frozenset({Role.HEAD})

PERMISSIONS: dict[str, frozenset[Role]] = {
    "overview.read": EVERYBODY,
    "jobs.read": EVERYBODY,
    "jobs.cancel": CONSERVATORS,
    "register.read": EVERYBODY,
    "register.write": CONSERVATORS,
    "exhibitions.write": CONSERVATORS,
    "photographs.read": EVERYBODY,
    "survey.read": EVERYBODY,
    "survey.write": WORKERS,
    "ranking.read": EVERYBODY,
    "ranking.run": CONSERVATORS,
    "climate.read": EVERYBODY,
    "climate.write": CONSERVATORS,
    "treatments.read": EVERYBODY,
    "treatments.write": CONSERVATORS,
    "time.write": CONSERVATORS,
    "time.others": HEADS,
    "plan.read": EVERYBODY,
    "plan.write": CONSERVATORS,
    "forecast.read": EVERYBODY,
    "forecast.run": CONSERVATORS,
    "staff.write": HEADS,
    "people.write": HEADS,
    "settings.read": EVERYBODY,
    "settings.write": HEADS,
}


def may(user: Any, permission: str) -> bool:
    """Whether ``user`` holds ``permission``; an unknown permission is a mistake in the code."""
    allowed = PERMISSIONS[permission]
    return bool(user.is_authenticated and user.is_active and (user.is_superuser or user.role in allowed))


def may_stop(user: Any, job: Job) -> bool:
    """Whoever asked for a job may stop it, and whoever runs the work of others."""
    return job.asked_by_id == user.pk or may(user, "jobs.cancel")


def permitted(permission: str) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """Declare what a view needs: others sign in first, or are refused."""
    if permission not in PERMISSIONS:
        raise KeyError(permission)

    def declare(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return cast(HttpResponse, redirect_to_login(request.get_full_path()))
            if not may(request.user, permission):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.permission = permission  # type: ignore[attr-defined]  # read by the house rules
        return guarded

    return declare


def open_to_all(reason: str) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """Declare a view that nobody signs in for, and why."""

    def declare(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        view.permission = f"open: {reason}"  # type: ignore[attr-defined]  # read by the house rules
        return view

    return declare
