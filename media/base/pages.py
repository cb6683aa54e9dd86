"""What pages share: lists by keyset, one address for a page and its part, asking first, addresses of jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast
from urllib.parse import urlencode

from django.core import signing
from django.db.models import Model, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import patch_vary_headers

from media.base.errors import BadCursor

M = TypeVar("M", bound=Model)
R = TypeVar("R")
SALT = "fettle.page"


@dataclass(frozen=True)
class Page(Generic[R]):
    """Some rows of a list and the cursor to the next; no count of all, which would cost more than the page."""

    rows: Sequence[R]
    next: str | None


def _read(cursor: str, order: Sequence[str]) -> list[Any]:
    try:
        key, values = signing.loads(cursor, salt=SALT)
    except (signing.BadSignature, ValueError, TypeError) as error:
        raise BadCursor from error
    if key != list(order):
        raise BadCursor
    return cast(list[Any], values)


def _beyond(order: Sequence[str], values: Sequence[Any]) -> Q:
    """Rows after ``values``. The leading bound stands alone as well: with it the index is used."""
    beyond, equal = Q(), Q()
    for field, value in zip(order, values, strict=True):
        name, compare = (field[1:], "lt") if field.startswith("-") else (field, "gt")
        beyond |= equal & Q(**{f"{name}__{compare}": value})
        equal &= Q(**{name: value})
    first = order[0]
    bound = Q(**{f"{first.lstrip('-')}__{'lte' if first.startswith('-') else 'gte'}": values[0]})
    return bound & beyond


def _value(row: Model, field: str) -> Any:
    value: Any = row
    for part in field.lstrip("-").split("__"):
        value = getattr(value, part)
    return value


def _plain(value: Any) -> Any:
    """As JSON holds it, to the last microsecond."""
    if isinstance(value, (str, int, float)):
        return value
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def keyset(queryset: QuerySet[M], *, order: Sequence[str], after: str | None, size: int = 50) -> Page[M]:
    """``size`` rows after the cursor, in one query.

    ``order`` names non-null fields, ``-`` for descending, the last of them unique. Raises ``BadCursor`` for a cursor
    that this function did not make for this order.
    """
    if after:
        queryset = queryset.filter(_beyond(order, _read(after, order)))
    rows = list(queryset.order_by(*order)[: size + 1])
    more = len(rows) > size
    rows = rows[:size]
    if not more:
        return Page(rows, None)
    return Page(rows, signing.dumps([list(order), [_plain(_value(rows[-1], field)) for field in order]], salt=SALT))


def page_or_part(
    request: HttpRequest, template: str, part: str, context: Mapping[str, Any], *, status: int = 200
) -> HttpResponse:
    """The whole page, or only its named part for a swap by htmx. The server names the part, never the request."""
    htmx = request.htmx  # type: ignore[attr-defined]  # set by the htmx middleware
    swap = bool(htmx) and not htmx.boosted and not htmx.history_restore_request
    response = render(request, f"{template}#{part}" if swap else template, dict(context), status=status)
    patch_vary_headers(response, ("HX-Request", "HX-Boosted", "HX-History-Restore-Request"))
    return response


def confirm(
    request: HttpRequest,
    question: str,
    *,
    action: str,
    back_href: str,
    consequences: Sequence[str] = (),
    danger: bool = False,
    fields: Mapping[str, str] | None = None,
) -> HttpResponse:
    """Ask before something is done that matters: what would follow, in sentences, and a way back.

    ``action`` is a verb on a thing; ``danger`` that something is lost; ``fields`` go along when it is done.
    """
    context = {"question": question, "action": action, "back_href": back_href, "consequences": consequences}
    return render(request, "media/confirm.html", context | {"danger": danger, "fields": fields or {}})


def leading_to(route: str, pk: Any, then: str) -> str:
    """The address of a job's page, or of what stops it, that goes on to ``then`` once the job is done."""
    return reverse(route, args=[pk]) + (f"?{urlencode({'then': then})}" if then else "")
