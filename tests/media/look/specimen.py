"""Every sign and part on one page, without the rest of the application: ``python -m tests.media.look.specimen 8765``.

All that it shows is invented.
"""

from __future__ import annotations

import sys
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from wsgiref.simple_server import make_server

import django
from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import include, path

ROOT = Path(__file__).resolve().parents[3]
WAYS = "Today:home Register:register Places:places Exhibitions:checklist Survey:survey Ranking:ranking"
WAYS += " Treatments:treatments Forecast:forecast Settings:settings"
OPENING = date(2031, 3, 4)
REFUSAL = {"message": "This assessment is frozen."}
TEMPLATES: dict[str, Any] = {
    "BACKEND": "django.template.backends.django.DjangoTemplates",
    "NAME": "specimen",
    "DIRS": [Path(__file__).parent / "templates", ROOT / "media/templates"],
    "APP_DIRS": True,
    "OPTIONS": {
        "builtins": ["template_partials.templatetags.partials", "media.templatetags.fettle"],
        "context_processors": ["django.template.context_processors.request"],
    },
}


class JointForm(forms.Form):
    """One of each kind of field."""

    stage = forms.ChoiceField(
        label="How does the joint look?",
        choices=[("0", "Sound"), ("1", "Ageing"), ("2", "Failing adhesive"), ("3", "Failing joint"), ("4", "Open")],
        widget=forms.RadioSelect,
        initial="1",
    )
    grade = forms.ChoiceField(
        label="Condition",
        choices=[("1", "Good"), ("2", "Fair"), ("3", "Poor"), ("4", "Unacceptable")],
        widget=forms.RadioSelect,
        initial="3",
    )
    number = forms.CharField(label="Accession number", help_text="As written on the object", initial="PT 1931.44")
    length = forms.FloatField(label="Length along the break (mm)", required=False, min_value=0)
    adhesive = forms.ChoiceField(label="Adhesive", choices=[("cn", "Cellulose nitrate"), ("ag", "Animal glue")])
    note = forms.CharField(label="What was seen", required=False, widget=forms.Textarea)
    moved = forms.BooleanField(label="It moves under light finger pressure", required=False)


def context() -> dict[str, Any]:
    """What the specimen page needs; the same for the tests."""
    today = OPENING - timedelta(weeks=16)
    weeks = [today + timedelta(weeks=week) for week in range(13)]
    fan = [
        {"date": day, "low": 8 * i, "middle": 11 * i + 2, "high": min(150, 14 * i + 9)} for i, day in enumerate(weeks)
    ]
    ready = [
        {
            "date": day,
            "low": OPENING - timedelta(days=40 - 2 * i),
            "middle": OPENING + timedelta(days=10 - 2 * i),
            "high": OPENING + timedelta(days=64 - 6 * i),
        }
        for i, day in enumerate(weeks[:9])
    ]
    past = [[{"date": day, "middle": (9 + 1.2 * p) * i + p} for i, day in enumerate(weeks[p:])] for p in range(4)]
    curve = [(OPENING + timedelta(weeks=w), 1 / (1 + 2.0 ** (-(w - 0.4)))) for w in range(-8, 9)]
    load = [
        {"week": day, "there": 62 - 20 * (i == 5), "needed": 38 + 5 * i - (i % 3) * 9} for i, day in enumerate(weeks)
    ]
    marks = [
        {
            "name": f"PT 1931.{i}",
            "seen": i < 17,
            "stage": [None, None, 0, None, 1, 2, None, 4, None, 3][i % 10],
            "do_not_lift": i == 7,
            "misplaced": i == 12,
            "href": f"#o{i}",
            "current": i == 16,
        }
        for i in range(24)
    ]
    rows = [
        ("PT 1931.44", "Storage jar", 4, 0.62, 0.41, 0.79, 4, 31.5, "joint at the neck open, structural, on the list"),
        ("PT 1928.7", "Dish", 2, 0.31, 0.18, 0.47, 3, 12.25, "film broken at the foot; same workshop as PT 1931.44"),
        ("PT 1940.112", "Ewer", 1, 0.29, 0.11, 0.52, 3, 9, "handle joint lifting along a third of its length"),
        ("PT 1922.3", "Bowl", 0, 0.004, 0.001, 0.02, 1, 0.5, "flush throughout"),
        ("PT 1951.18", "Tureen with cover", None, None, None, None, None, None, "not looked at yet"),
    ]
    names = ("number", "what", "stage", "mid", "low", "high", "grade", "hours", "why")
    events = [
        ("mark", "Made", "about 1780", "", "Tin-glazed earthenware, port town"),
        ("stage-4", "Broken", "before 1931", "", "Five sherds, one loss at the rim"),
        ("treatments", "Restored", "about 1950", "workshop not known", "Joined, filled with plaster, painted over"),
        ("survey", "Surveyed", "12 May 2030", "M. Vale", "Neck joint lifting; gap at the handle"),
        ("checklist", "Proposed", "3 June 2030", "", "Take down and rejoin the neck"),
    ]
    story: list[dict[str, Any]] = [
        dict(zip(("symbol", "title", "when", "who", "text"), event, strict=True)) for event in events
    ]
    story.append({"symbol": "clock", "title": "Look again", "when": "due 1 June 2032", "ahead": True})
    job = {"pk": 7, "title": "Scoring 1 240 joints", "ended": False, "share": 0.37, "done": 458, "total": 1240}
    mistakes = {"stage": "1", "grade": "3", "number": "", "adhesive": "cn", "length": "-3"}
    bound = JointForm({f"bound-{name}": value for name, value in mistakes.items()}, prefix="bound")
    return {
        "nav": [
            {
                "name": way.split(":")[0],
                "symbol": way.split(":")[1],
                "href": f"#{way}",
                "current": way.startswith("Rank"),
            }
            for way in WAYS.split()
        ],
        "user": SimpleNamespace(is_authenticated=True, get_full_name="Mara Vale", get_username="mara"),
        "opening": OPENING,
        "fan": fan,
        "ready_fan": ready,
        "past": past,
        "curve": curve,
        "load": load,
        "edges": [OPENING + timedelta(weeks=w) for w in range(-8, 9)],
        "counts": [1, 3, 9, 20, 41, 70, 99, 120, 118, 90, 61, 40, 22, 11, 5, 2],
        "marks": marks,
        "rows": [dict(zip(names, row, strict=True)) for row in rows],
        "story": story,
        "job": {**job, "state": "running", "get_state_display": "Running", "saying": "Second shelf of bay 4"},
        "form": JointForm(),
        "bound": bound,
        "page": SimpleNamespace(next=None),
        "question": "Remove the joint at the neck?",
        "consequences": ["Its three observations stay in the history.", "The object is scored again without it."],
        "action": "Remove joint",
        "back_href": "#back",
        "danger": True,
        "states": range(5),
        "grades": range(1, 5),
    }


def application() -> Any:
    """The specimen at ``/``, static files beside it, under the product's own content policy."""
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.core.wsgi import get_wsgi_application

    return StaticFilesHandler(get_wsgi_application())


def _configure() -> None:
    from csp.constants import NONE, SELF

    settings.configure(
        DEBUG=True,
        ALLOWED_HOSTS=["*"],
        SECRET_KEY="specimen",
        ROOT_URLCONF=__name__,
        INSTALLED_APPS=["django.contrib.staticfiles", "django_htmx", "template_partials", "csp"],
        MIDDLEWARE=["csp.middleware.CSPMiddleware", "django.middleware.csrf.CsrfViewMiddleware"],
        TEMPLATES=[TEMPLATES],
        STATIC_URL="/static/",
        STATICFILES_DIRS=[ROOT / "media/static"],
        USE_I18N=False,
        CONTENT_SECURITY_POLICY={"DIRECTIVES": {"default-src": [SELF], "object-src": [NONE], "base-uri": [NONE]}},
    )
    django.setup()


def page(request: HttpRequest, name: str = "media/specimen.html") -> HttpResponse:
    """The specimen, or another template with the same context."""
    return render(request, name, {**context(), "error": REFUSAL})


def job(request: HttpRequest) -> HttpResponse:
    """The job's panel alone, as its poll asks for it."""
    return render(request, "media/parts/job.html", {**context(), "job_href": "/job/"})


def refuse(request: HttpRequest) -> HttpResponse:
    """A refusal as the error middleware gives it."""
    return render(request, "error.html", {**context(), "error": REFUSAL}, status=409)


urlpatterns = [
    path("", page),
    path("job/", job),
    path("refuse/", refuse),
    path("see/<path:name>", page),
    path("", include(([path("register/", page, name="objects")], "register"))),
    path("", include(([path("out/", page, name="sign_out")], "base"))),
]

if __name__ == "__main__":
    _configure()
    with make_server("127.0.0.1", int(sys.argv[1]), application()) as server:
        server.serve_forever()
