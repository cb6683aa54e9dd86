"""Lists by keyset: every row once, whatever ties there are; no cursor but our own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.core import signing

from media.base.errors import BadCursor
from media.base.models import Event
from media.base.pages import SALT, keyset
from tests.builders import an_object

START = datetime(2026, 1, 1, 12, 0, 0, 123456, tzinfo=UTC)


@pytest.mark.parametrize("order", [["at", "id"], ["-at", "id"], ["-at", "-id"], ["verb", "-at", "id"]])
def test_every_row_comes_once_and_in_order(db, order):
    thing = an_object()
    for n in range(23):
        when = START + timedelta(microseconds=n // 4)
        Event.objects.create(at=when, verb=f"v{n % 3}", subject_kind="x", subject_id=str(thing.pk))
    rows, after = [], None
    while True:
        page = keyset(Event.objects.all(), order=order, after=after, size=5)
        rows += [row.pk for row in page.rows]
        after = page.next
        if not after:
            break
    assert rows == list(Event.objects.order_by(*order).values_list("pk", flat=True))


@pytest.mark.parametrize("cursor", ["", None])
def test_no_cursor_is_the_top(db, cursor):
    an_object()
    assert len(keyset(Event.objects.all(), order=["id"], after=cursor).rows) == 0


@pytest.mark.parametrize("cursor", ["x", "5", "of another list", "a:b:c", "\x00"])
def test_a_cursor_of_somebody_elses_is_refused(db, cursor):
    if cursor == "of another list":
        cursor = signing.dumps([["id"], [5]], salt="other")
    with pytest.raises(BadCursor):
        keyset(Event.objects.all(), order=["id"], after=cursor)


def test_a_cursor_of_another_order_is_refused(db):
    with pytest.raises(BadCursor):
        keyset(Event.objects.all(), order=["-id"], after=signing.dumps([["id"], [5]], salt=SALT))
