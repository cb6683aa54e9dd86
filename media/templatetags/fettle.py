"""What every page shows the same way: chances, hours, states drawn as symbols, plots with their numbers beside them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django import template
from django.forms import BoundField
from django.template.context import Context
from django.templatetags.static import static
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import slugify

from media.base import drawing

register = template.Library()

NOT_KNOWN = "not known"
SPACE = "\N{NO-BREAK SPACE}"
QUARTERS = ("", "¼", "½", "¾")

STAGES = ("Sound", "Ageing", "Failing adhesive", "Failing joint", "Open")
GRADES = ("Good", "Fair", "Poor", "Unacceptable")
CERTAINTIES = {
    "guessed": "guessed from date and hand",
    "looked": "looked at",
    "tested": "solvent or spot test",
    "analysed": "analysed or recorded",
}
# Words for the cautions of the trade (common practice); each defers to local rules, data sheets and accredited people.
CAUTIONS = {
    "solvents": (
        "Solvents",
        "Ventilate or work under extraction, wear suitable gloves, keep ignition sources away. Follow the safety data"
        " sheet and your institution's exposure rules.",
    ),
    "cellulose-nitrate": (
        "Old cellulose nitrate",
        "The thin lines in joints are no fire load. Old stocks in tins, film or sheet are: flammable, and they give off"
        " acid nitrogen oxides. Keep them apart and ask your fire safety officer.",
    ),
    "dust": (
        "Dust",
        "Fumed silica, glass microspheres and plaster: use local extraction and a mask fitted to the wearer. Follow the"
        " safety data sheet.",
    ),
    "residues": (
        "Old surfaces",
        "Surfaces may carry lead, arsenic, mercury or pesticide residues. Wear gloves, and have them tested by an"
        " accredited laboratory before any work that raises dust.",
    ),
    "heavy": (
        "Heavy or unsafe",
        "Two people, or do not lift. Your local manual handling rules apply.",
    ),
    "evidence": (
        "Residues may be evidence",
        "Do not clean, fill or solvent-test residues of food, smoke, pigment or offerings without agreement.",
    ),
    "judgement": (
        "A support, not a verdict",
        "These figures support a conservator's judgement and replace none. No chance here is a certainty.",
    ),
}


def percent(chance: float) -> str:
    """Whole per cent without the sign; the ends are never 0 or 100."""
    if not -1e-9 <= chance <= 1 + 1e-9:
        raise ValueError("chance must lie from 0 to 1")
    return "<1" if chance < 0.01 else ">99" if chance > 0.99 else str(math.floor(100 * chance + 0.5))


@register.filter
def chance(value: float | None, rule: str = "") -> str:
    """0.31 as "31 %". Estimates never reach 0 or 100; ``chance:"by rule"`` lets what is certain by rule do so."""
    if value is None or math.isnan(value):
        return NOT_KNOWN
    if rule == "by rule" and value in (0, 1):
        return f"{100 * int(value)}{SPACE}%"
    return f"{percent(value)}{SPACE}%"


@register.filter
def in_ten(value: float | None) -> str:
    """0.31 as "about 3 in 10"; towards the ends in hundreds, never none and never all."""
    if value is None or math.isnan(value):
        return NOT_KNOWN
    whole = percent(value)
    if whole == "<1":
        return f"fewer than 1{SPACE}in{SPACE}100"
    if whole == ">99":
        return f"more than 99{SPACE}in{SPACE}100"
    if value < 0.05 or value >= 0.95:
        return f"about {whole}{SPACE}in{SPACE}100"
    return f"about {math.floor(10 * value + 0.5)}{SPACE}in{SPACE}10"


@register.filter
def hours(value: float | None) -> str:
    """Hours as a person says them: quarters below ten, whole above ("1½ h", "23 h", "1 240 h")."""
    if value is None or math.isnan(value):
        return NOT_KNOWN
    if value < 0:
        raise ValueError("hours must not be negative")
    quarters = math.floor(4 * value + 0.5)
    if value > 0 and quarters == 0:
        return f"under ¼{SPACE}h"
    if quarters >= 40:
        return f"{math.floor(value + 0.5):,}".replace(",", SPACE) + f"{SPACE}h"
    whole, rest = divmod(quarters, 4)
    return f"{whole if whole or not rest else ''}{QUARTERS[rest]}{SPACE}h"


@register.simple_tag
def symbol(name: str, label: str = "", size: str = "") -> SafeString:
    """A symbol of the sprite: decorative, or with ``label`` an image that says so. ``size``: "small", "large"."""
    href = f"{static('media/symbols.svg')}#{name}"
    kind = f"symbol {size}".strip()
    if label:
        return format_html(
            '<svg class="{}" role="img" aria-label="{}"><title>{}</title><use href="{}"/></svg>',
            kind,
            label,
            label,
            href,
        )
    return format_html('<svg class="{}" aria-hidden="true" focusable="false"><use href="{}"/></svg>', kind, href)


@register.simple_block_tag
def wrap(content: str, tag: str, kind: str) -> str:
    """Its content inside an element, or nothing at all where the content is empty."""
    return format_html("<{} class='{}'>{}</{}>", tag, kind, mark_safe(content), tag) if content.strip() else ""  # noqa: S308  # content is rendered template text


@register.simple_block_tag
def folded(content: str, summary: str) -> str:
    """Its content in a closed disclosure, or nothing at all where the content is empty."""
    if not content.strip():
        return ""
    return format_html('<details class="fold"><summary>{}</summary>{}</details>', summary, mark_safe(content))  # noqa: S308  # content is rendered template text


@register.inclusion_tag("media/parts/stage.html")
def stage(state: int | None, label: str = "") -> dict[str, Any]:
    """A joint's stage, 0 sound to 4 open, drawn and in words; none is "not looked at"."""
    if state is None:
        return {"name": "stage-unknown", "word": label or "Not looked at"}
    if state not in range(len(STAGES)):
        raise ValueError("state must be from 0 to 4")
    return {"name": f"stage-{state}", "word": label or STAGES[state]}


@register.inclusion_tag("media/parts/do_not_lift.html")
def do_not_lift(reason: str = "", short: bool = False) -> dict[str, Any]:
    """The first thing on every page, print and label of that object; ``short=True`` for lists."""
    return {"reason": reason, "short": short}


@register.inclusion_tag("media/parts/certainty.html")
def certainty(what: str, level: str) -> dict[str, Any]:
    """What is said, inside an outline whose weight is how sure it is: guessed, looked, tested, analysed."""
    if level not in CERTAINTIES:
        raise ValueError(f"level must be one of {', '.join(CERTAINTIES)}")
    return {"what": what, "level": level, "basis": CERTAINTIES[level]}


@register.inclusion_tag("media/parts/grade.html")
def grade(number: int | None) -> dict[str, Any]:
    """A condition grade, 1 good to 4 unacceptable: its word and a bar with as many notches."""
    if number is None:
        return {"number": None}
    if number not in range(1, 5):
        raise ValueError("number must be from 1 to 4")
    return {"number": number, "name": f"grade-{number}", "word": GRADES[number - 1]}


@register.inclusion_tag("media/parts/caution.html")
def caution(name: str) -> dict[str, Any]:
    """A standing caution by its name in ``CAUTIONS``."""
    title, text = CAUTIONS[name]
    return {"title": title, "text": text}


@register.inclusion_tag("media/parts/interval.html")
def interval(low: float | None, middle: float | None, high: float | None, meaning: str = "") -> dict[str, Any]:
    """A chance on a line from 0 to 1 with its interval, and the same in words."""
    if middle is None:
        return {"line": None, "meaning": meaning}
    line = drawing.interval(low, middle, high)
    return {"line": line, "middle": middle, "range": spread(low, high), "meaning": meaning}


@register.inclusion_tag("media/parts/big_chance.html")
def big_chance(low: float | None, middle: float | None, high: float | None, meaning: str = "") -> dict[str, Any]:
    """The number that matters: large, with its interval and as a count of ten."""
    return {"middle": middle, "range": spread(low, high), "meaning": meaning}


def spread(low: float | None, high: float | None) -> str:
    """An interval of chances: "18–47", one number where both ends read the same; empty when not known."""
    if low is None or high is None:
        return ""
    ends = percent(low), percent(high)
    return ends[0] if ends[0] == ends[1] else "–".join(ends)


@register.inclusion_tag("media/parts/fan.html", takes_context=True)
def fan(
    context: Context,
    points: Sequence[Mapping[str, Any]],
    *,
    title: str,
    desc: str = "",
    opening: date | None = None,
    past: Sequence[Sequence[Mapping[str, Any]]] = (),
    target: float | date | None = None,
    actual: Sequence[tuple[date, float | date]] = (),
    what: str = "Forecast",
) -> dict[str, Any]:
    """A forecast as a fan: ``date``, ``low``, ``middle``, ``high`` (10, 50, 90 %) with earlier forecasts faint.

    ``actual`` is what came, by date.
    """
    plot = drawing.fan(points, opening=opening, past=past, target=target, actual=actual) if len(points) > 1 else None
    rest = {"points": points, "past_count": len(past), "what": what, "opening": opening, "actual": actual}
    return {"plot": plot, **_figure(context, title, desc), **rest}


@register.inclusion_tag("media/parts/load_bars.html", takes_context=True)
def load_bars(context: Context, weeks: Sequence[Mapping[str, Any]], *, title: str, desc: str = "") -> dict[str, Any]:
    """Hours needed against hours there are, week by week: ``week``, ``there``, ``needed``."""
    plot = drawing.load_bars(weeks) if weeks else None
    rows = [{**week, "over": max(0.0, week["needed"] - week["there"])} for week in weeks]
    return {"plot": plot, "weeks": rows, **_figure(context, title, desc)}


@register.inclusion_tag("media/parts/readiness.html", takes_context=True)
def readiness(
    context: Context,
    points: Sequence[tuple[date, float]],
    *,
    title: str,
    desc: str = "",
    opening: date | None = None,
    at_opening: float | None = None,
    past: Sequence[Sequence[tuple[date, float]]] = (),
) -> dict[str, Any]:
    """The chance to be ready by each date as a rising curve, with the chance on opening day written on its line.

    ``past`` are earlier forecasts' curves, drawn faint behind it.
    """
    plot = drawing.readiness(points, opening=opening, past=past) if len(points) > 1 else None
    return {"plot": plot, "points": points, "at_opening": at_opening, **_figure(context, title, desc)}


@register.inclusion_tag("media/parts/histogram.html", takes_context=True)
def histogram(
    context: Context,
    edges: Sequence[float | date],
    counts: Sequence[float],
    *,
    title: str,
    desc: str = "",
    opening: float | date | None = None,
    what: str = "Trials",
) -> dict[str, Any]:
    """Counts by value or date, with a line at opening day."""
    plot = drawing.histogram(edges, counts, opening=opening) if counts else None
    rows = list(zip(edges, edges[1:], counts, strict=False))
    return {"plot": plot, "rows": rows, "what": what, **_figure(context, title, desc)}


def _figure(context: Context, title: str, desc: str) -> dict[str, Any]:
    """Title, description and ids that no other figure of the page has."""
    number: int = (context.render_context.get("figures") or 0) + 1
    context.render_context["figures"] = number
    return {"title": title, "desc": desc, "id": f"{slugify(title) or 'figure'}-{number}"}


@register.inclusion_tag("media/parts/shelf_row.html")
def shelf_row(name: str, marks: Sequence[Mapping[str, Any]], href: str = "") -> dict[str, Any]:
    """A shelf as a row of marks in walking order.

    Each mark: ``name``, ``seen``; if it has old joints ``stage`` (0 to 4, the worst); optional ``href``, ``misplaced``,
    ``do_not_lift``, ``current``.
    """
    drawn = [{**mark, **_shelf_mark(mark)} for mark in marks]
    return {"name": name, "href": href, "marks": drawn, "seen": sum(bool(mark["seen"]) for mark in marks)}


def _shelf_mark(mark: Mapping[str, Any]) -> dict[str, str]:
    worst = mark.get("stage")
    if mark.get("do_not_lift"):
        shape, words = "do-not-lift", "do not lift"
    elif not mark["seen"]:
        shape, words = "mark-unseen", "not looked at yet"
    elif worst is not None:
        shape, words = f"stage-{worst}", f"worst joint: {STAGES[worst].lower()}"
    else:
        shape, words = "mark-seen", "looked at, no old joints"
    if mark.get("misplaced"):
        words += ", not where it should be"
        shape = shape if mark.get("do_not_lift") else "mark-misplaced"
    return {"shape": shape, "words": words}


@register.inclusion_tag("media/parts/choices.html")
def choice_tiles(field: BoundField, symbols: str = "", main: bool = False) -> dict[str, Any]:
    """A radio or checkbox field as large tiles; ``symbols`` is put before each value to name its symbol."""
    return {"field": field, "symbols": symbols, "main": main}


@register.inclusion_tag("media/parts/empty.html")
def empty_state(name: str, sentence: str, href: str = "", action: str = "") -> dict[str, Any]:
    """Nothing here yet: a symbol, one sentence on what to do first, and the button that does it."""
    return {"name": name, "sentence": sentence, "href": href, "action": action}
