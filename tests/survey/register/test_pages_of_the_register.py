"""Every page of the register answers, for whoever may see it."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from tests import builders

pytestmark = pytest.mark.django_db

OPEN_TO_READERS = ["register:objects", "register:imports", "register:places", "register:exhibitions"]
FOR_CONSERVATORS = ["register:object_new", "register:import_new", "register:place_new", "register:exhibition_new"]


@pytest.mark.parametrize("name", OPEN_TO_READERS)
def test_empty_lists_say_what_to_do_first(conservator, name):
    response = conservator.get(reverse(name))
    assert response.status_code == 200
    assert 'class="empty"' in response.content.decode()


@pytest.mark.parametrize("name", OPEN_TO_READERS)
def test_readers_see_lists(reader, name):
    assert reader.get(reverse(name)).status_code == 200


@pytest.mark.parametrize("name", FOR_CONSERVATORS)
def test_only_conservators_write(reader, surveyor, conservator, name):
    assert reader.get(reverse(name)).status_code == 403
    assert surveyor.get(reverse(name)).status_code == 403
    assert conservator.get(reverse(name)).status_code == 200


@pytest.mark.parametrize(
    "name",
    ["place_edit", "place_move", "place_delete", "object_edit", "object_move", "object_withdraw",
     "exhibition_edit", "exhibition_close", "list_import", "import_undo", "import_discard"],
)  # fmt: skip
def test_readers_change_nothing(reader, name):
    assert reader.post(reverse(f"register:{name}", args=[uuid.uuid4()])).status_code == 403


@pytest.mark.parametrize("name", ["place", "object_edit", "exhibition", "import"])
def test_what_is_gone_says_so(conservator, name):
    response = conservator.get(reverse(f"register:{name}", args=[uuid.uuid4()]))
    assert response.status_code == 404
    assert "any more" in response.content.decode()


def test_nobody_reads_without_signing_in(client):
    response = client.get(reverse("register:objects"))
    assert response.status_code == 302
    assert response["Location"].startswith(reverse("base:sign_in"))


def test_every_page_of_an_object_and_its_place_answers(conservator):
    bay = builders.a_place(kind="bay", name="Bay 1")
    shelf = builders.a_place(parent=bay)
    thing = builders.an_object(place=shelf)
    exhibition = builders.an_exhibition()
    entry = builders.an_entry(exhibition, thing)
    for name, key in [
        ("place", bay.pk), ("place", shelf.pk), ("place_edit", shelf.pk), ("place_move", shelf.pk),
        ("object_edit", thing.pk), ("object_move", thing.pk), ("object_withdraw", thing.pk),
        ("exhibition", exhibition.pk), ("exhibition_edit", exhibition.pk), ("exhibition_close", exhibition.pk),
        ("list_import", exhibition.pk), ("entry_edit", entry.pk),
    ]:  # fmt: skip
        assert conservator.get(reverse(f"register:{name}", args=[key])).status_code == 200, name
    assert conservator.get(reverse("register:places")).status_code == 200
    assert thing.number in conservator.get(reverse("register:objects")).content.decode()
