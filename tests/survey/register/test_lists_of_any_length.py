"""Every list of the register asks the database as often for one row as for fifty, and its pages follow each other."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from survey.models import ImportRow, RegisterImport
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db


def an_import(**fields):
    values = {"file_name": "a.csv", "sha256": "0", "size": 1, "received_at": NOW, "received_by": builders.a_person()}
    return RegisterImport.objects.create(**values | fields)


@pytest.fixture
def shown():
    """Name of a list to its address and to what adds one row to it."""
    bay = builders.a_place(kind="bay", name="Bay 1")
    show = builders.an_exhibition()
    batch = an_import(state="looked", counts={"create": 1, "change": 0, "same": 0, "left": 0, "refused": 0})
    lines = iter(range(2, 1000))
    return {
        "register": (reverse("register:objects"), lambda: builders.an_object(place=bay)),
        "places": (reverse("register:places"), lambda: builders.an_object(place=builders.a_place(kind="bay"))),
        "bay": (reverse("register:place", args=[bay.pk]),
                lambda: builders.an_object(place=builders.a_place(parent=bay))),
        "exhibitions": (reverse("register:exhibitions"),
                        lambda: builders.an_entry(builders.an_exhibition(), builders.an_object())),
        "checklist": (reverse("register:exhibition", args=[show.pk]),
                      lambda: builders.an_entry(show, builders.an_object(place=bay))),
        "imports": (reverse("register:imports"), an_import),
        "preview": (reverse("register:import", args=[batch.pk]),
                    lambda: ImportRow.objects.create(batch=batch, line=next(lines), verdict="create", number="K",
                                                     fields={"title": "Jar"})),
    }  # fmt: skip


@pytest.mark.parametrize("name", ["register", "places", "bay", "exhibitions", "checklist", "imports", "preview"])
def test_one_row_costs_as_many_queries_as_fifty(conservator, shown, name):
    address, add = shown[name]
    add()
    conservator.get(address)
    counts = []
    for more in (0, 49):
        for _ in range(more):
            add()
        with CaptureQueriesContext(connection) as queries:
            assert conservator.get(address).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 14


def test_pages_follow_each_other_without_gap_or_double(reader):
    for n in range(120):
        builders.an_object(number=f"K {n:03d}")
    seen, address = [], reverse("register:objects")
    while address:
        response = reader.get(address)
        page = response.context["page"]
        seen += [thing.number for thing in page.rows]
        address = page.next and f"{reverse('register:objects')}?q=K&after={page.next}"
    assert seen == [f"K {n:03d}" for n in range(120)]


def test_the_next_rows_come_as_a_part(reader):
    builders.an_object(number="K 1")
    part = reader.get(reverse("register:objects"), headers={"HX-Request": "true"}).content.decode()
    assert "K 1" in part
    assert "<html" not in part
