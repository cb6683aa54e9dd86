"""Every change leaves who, when, what it was and what it became; many rows at once as well."""

from __future__ import annotations

from media.base import bulk, events
from media.base.models import Event
from survey.models import Object
from tests.builders import NOW, a_person, an_object


def test_an_event_keeps_who_when_was_and_became(db):
    person, thing = a_person(), an_object()
    events.record(
        thing, "moved", by=person, at=NOW, was={"place": None}, became={"on": NOW.date()}, thread=str(thing.pk)
    )
    kept = Event.objects.get()
    assert (kept.by, kept.at, kept.verb, kept.subject_kind) == (person, NOW, "moved", "survey.object")
    assert (kept.was, kept.became, kept.thread) == ({"place": None}, {"on": "2026-03-02"}, str(thing.pk))


def test_many_rows_are_written_as_one_by_one_would_be(db):
    rows = [
        Object(
            number=f"B {n}", number_key=f"b {n}", height_mm=n or None, title="täglich\t\\N\n'quoted'", date_earliest=-n
        )
        for n in range(3)
    ]
    assert bulk.insert(Object, rows) == 3
    kept = {row.number: row for row in Object.objects.all()}
    for row in rows:
        row.refresh_from_db()
        assert kept[row.number].title == "täglich\t\\N\n'quoted'"
    assert kept["B 0"].height_mm is None and kept["B 2"].date_earliest == -2


def test_many_events_keep_json_null_apart_from_text(db):
    thing = an_object()
    changes = [
        events.Change(thing, "made", None, {"n": n, "text": 'a "b" \\ ü', "none": None}, thread="t") for n in range(7)
    ]
    assert events.record_many(changes, by=None, at=NOW) == 7
    kept = Event.objects.order_by("id")
    assert [row.became["n"] for row in kept] == list(range(7))
    assert kept[0].became == {"n": 0, "text": 'a "b" \\ ü', "none": None} and kept[0].was is None
    assert Event.objects.filter(was__isnull=True).count() == 7
