"""An object's page shows each photograph with what stands on it, of whoever drew."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from survey.condition import marking
from survey.condition.db.services.marking import draw_on
from survey.models import Joint
from tests.builders import NOW, a_person
from tests.survey.condition.db.test_drawing_on_photographs import a_mark, drawing, taken
from treatments.options.db import services as options

__all__ = ["taken"]
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def levels(db) -> None:
    options.ensure_levels(at=NOW)


def overlays(page: str) -> list[ElementTree.Element]:
    return [ElementTree.fromstring(found) for found in re.findall(r'<svg class="drawn".*?</svg>', page, re.S)]  # noqa: S314


def test_what_stands_is_drawn_over_the_photograph_at_its_own_pixels(reader, taken):
    page = f"/objects/{taken.object_id}/"
    assert overlays(reader.get(page).content.decode()) == []
    joint = Joint.objects.get(restoration__object=taken.object)
    for marks in ([a_mark("joint", joint.pk)], [a_mark("sample", points=((400, 300),))]):
        read = marking.read(drawing(*marks))
        draw_on(taken, read, after=(), by=a_person(), at=NOW)
    (over,) = overlays(reader.get(page).content.decode())
    assert over.attrib["viewBox"] == "0 0 800 600"
    lines = [path.attrib["d"] for path in over.iter("path") if path.attrib["class"] == "mark joint"]
    assert lines == ["M0 0L300 400"]
    assert sorted(str(text.text) for text in over.iter("text")) == ["J1", "Sample"]


def test_the_page_asks_as_often_with_and_without_drawings(reader, taken):
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            assert reader.get(f"/objects/{taken.object_id}/").status_code == 200
        counts.append(len(queries))
        for _ in range(3):
            read = marking.read(drawing(a_mark("sample", points=((4, 3),))))
            draw_on(taken, read, after=(), by=a_person(), at=NOW)
    assert counts[0] == counts[1]
