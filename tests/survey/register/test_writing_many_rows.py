"""Rows made inside the database, from other rows, are what Django itself would have written."""

from __future__ import annotations

import uuid

import pytest
from django.db.models import F, Value

from media.base import bulk, events
from media.base.models import Event
from survey.models import ImportRow, Object, RegisterImport
from tests.builders import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows():
    batch = RegisterImport.objects.create(file_name="a", sha256="0", size=1, received_at=NOW)
    for line, title in enumerate(["Jar", None, 'Dish "à la" ’\\ %s'], start=2):
        fields = {"title": title} if title else {}
        ImportRow.objects.create(batch=batch, line=line, verdict="create", number=f"K {line}", object_id=uuid.uuid4(),
                                 fields=fields)  # fmt: skip
    return ImportRow.objects.filter(batch=batch)


def copy(rows, **constants):
    values = {"id": F("object_id"), "number": F("number"), "number_key": F("number")}
    values["title"] = bulk.JsonText("fields", "title")
    return bulk.insert_from(Object, values, rows.filter(fields__has_key="title"), **constants)


def test_each_row_becomes_one_with_defaults_for_the_rest(rows):
    assert copy(rows, restriction="ask first") == 2
    made = Object.objects.get(number="K 4")
    assert (made.pk, made.title) == (rows.get(line=4).object_id, 'Dish "à la" ’\\ %s')
    assert (made.restriction, made.material, made.height_mm, made.withdrawn_at) == ("ask first", "", None, None)
    made.full_clean()


def test_events_name_their_object_as_all_events_do(rows):
    assert events.record_from(
        Object, "brought in", rows, key="object_id", became="fields", by=None, at=NOW, note="x" * 600
    ) == 3  # fmt: skip
    event = Event.objects.get(thread=str(rows.get(line=2).object_id))
    assert (event.subject_kind, event.subject_id) == ("survey.object", event.thread)
    assert (event.was, event.became, event.at, len(event.note)) == (None, {"title": "Jar"}, NOW, 500)


def test_no_rows_make_no_rows(rows):
    assert copy(rows.none()) == 0


def test_what_is_no_field_is_refused(rows):
    with pytest.raises(ValueError, match="colour"):
        copy(rows, colour=Value("blue"))


def test_a_missing_name_is_null_not_the_word(rows):
    said = rows.annotate(said=bulk.JsonText("fields", "title")).order_by("line").values_list("said", flat=True)
    assert list(said)[1] is None
