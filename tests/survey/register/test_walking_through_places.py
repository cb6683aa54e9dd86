"""Places are kept in the order in which one walks past them, and every name and path below follows."""

from __future__ import annotations

import pytest
from django.urls import reverse

from media.base.errors import Clash, FettleError
from media.base.models import Event
from survey.models import Place
from survey.register.db import selectors
from survey.register.db.selectors.places import places_page, shelves_of
from survey.register.db.services import objects, places
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db


def add(name, kind, parent=None):
    return places.add_place(kind=kind, name=name, parent=parent, by=None, at=NOW)


@pytest.fixture
def store():
    """A site with two rooms, a bay in the first, three shelves in it."""
    site = add("Harbour store", "site")
    room, other = add("Room 1", "room", site), add("Room 2", "room", site)
    bay = add("Bay A", "bay", room)
    return {"site": site, "room": room, "other": other, "bay": bay} | {
        f"s{n}": add(f"Shelf {n}", "shelf", bay) for n in (1, 2, 3)
    }


def walk():
    return [place.name for place in Place.objects.order_by("path")]


def check_tree():
    """Every path and full name is what names and positions say, whatever was done."""
    for place in Place.objects.select_related("parent"):
        assert place.path == places.place_path(place.parent, place.position)
        assert place.full_name == places.full_name(place.parent, place.name)
    for parent in [None, *Place.objects.all()]:
        siblings = Place.objects.filter(parent=parent).order_by("position")
        assert [place.position for place in siblings] == list(range(1, len(siblings) + 1))


def test_places_come_in_walking_order(store):
    assert walk() == ["Harbour store", "Room 1", "Bay A", "Shelf 1", "Shelf 2", "Shelf 3", "Room 2"]
    assert store["s2"].path == "00001.00001.00001.00002."
    assert store["s2"].full_name == "Harbour store · Room 1 · Bay A · Shelf 2"
    check_tree()


def test_ten_shelves_come_after_nine(store):
    for n in range(4, 13):
        add(f"Shelf {n}", "shelf", store["bay"])
    names = [line.place.name for line in shelves_of(store["bay"])]
    assert names == [f"Shelf {n}" for n in range(1, 13)]


def test_renaming_renames_all_below(store):
    places.edit_place(store["room"], name="Ceramics store", kind="room", by=None, at=NOW)
    store["s2"].refresh_from_db()
    assert store["s2"].full_name == "Harbour store · Ceramics store · Bay A · Shelf 2"
    check_tree()


def test_moving_a_bay_takes_its_shelves_along(store):
    thing = builders.an_object(place=store["s3"])
    places.move_place(store["bay"], parent=store["other"], by=None, at=NOW)
    thing.refresh_from_db()
    assert thing.place.full_name == "Harbour store · Room 2 · Bay A · Shelf 3"
    assert walk() == ["Harbour store", "Room 1", "Room 2", "Bay A", "Shelf 1", "Shelf 2", "Shelf 3"]
    assert Event.objects.get(verb="moved", subject_kind="survey.place").was == {
        "name": "Harbour store · Room 1 · Bay A"
    }
    check_tree()


@pytest.mark.parametrize(("position", "order"), [(1, "312"), (2, "132"), (3, "123"), (99, "123"), (-5, "312")])
def test_a_shelf_is_put_where_one_passes_it(store, position, order):
    places.put_at(store["s3"], position, by=None, at=NOW)
    assert "".join(line.place.name[-1] for line in shelves_of(store["bay"])) == order
    check_tree()


def test_an_empty_place_is_removed_and_the_others_close_up(store):
    places.delete_place(store["s1"], by=None, at=NOW)
    assert [line.place.position for line in shelves_of(store["bay"])] == [1, 2]
    check_tree()


def test_a_place_with_something_in_it_stays(store):
    builders.an_object(place=store["s1"])
    for name, words in [("s1", "Objects stand here"), ("bay", "Other places stand inside")]:
        with pytest.raises(Clash, match=words):
            places.delete_place(store[name], by=None, at=NOW)


def test_a_place_that_records_name_stays(store):
    thing = builders.an_object(place=store["s1"])
    objects.move_object(thing, store["s2"], by=None, at=NOW)
    with pytest.raises(Clash, match="Records"):
        places.delete_place(store["s1"], by=None, at=NOW)


@pytest.mark.parametrize(
    ("kind", "name", "inside", "words"),
    [
        ("room", "Room 3", "s1", "cannot stand in a shelf"),
        ("shelf", "Shelf 4", "s1", "cannot stand in a shelf"),
        ("shelf", "Shelf 1", "bay", "already a place called"),
        ("shelf", "  ", "bay", "name"),
        ("shelf", "x" * 121, "bay", "name"),
        ("cupboard", "C", "bay", "kind"),
    ],
)
def test_what_cannot_be_is_refused(store, kind, name, inside, words):
    with pytest.raises(FettleError, match=words):
        places.add_place(kind=kind, name=name, parent=store[inside], by=None, at=NOW)
    check_tree()


def test_a_place_does_not_go_inside_itself(store):
    with pytest.raises(FettleError, match="inside itself"):
        places.move_place(store["room"], parent=store["bay"], by=None, at=NOW)
    with pytest.raises(FettleError, match="A shelf stands inside"):
        places.edit_place(store["bay"], name="Bay A", kind="shelf", by=None, at=NOW)


def test_names_too_long_for_a_label_are_refused(store):
    long = "x" * 120
    first = add(long, "site")
    second = add(long, "building", first)
    third = add(long, "room", second)
    with pytest.raises(FettleError, match="longer than 400"):
        add(long, "bay", third)


def test_objects_are_counted_with_all_below(store):
    for shelf in ("s1", "s1", "s2"):
        builders.an_object(place=store[shelf])
    builders.an_object(place=store["s1"], withdrawn_at=NOW)
    counts = {line.place.name: line.objects for line in places_page(after=None).rows}
    assert counts == {"Harbour store": 3, "Room 1": 3, "Bay A": 3, "Room 2": 0}
    assert selectors.objects_within(store["bay"]).count() == 3


def test_a_conservator_builds_a_store_through_the_pages(conservator):
    conservator.post(reverse("register:place_new"), {"name": "Quay store", "kind": "site"})
    site = Place.objects.get()
    url = f"{reverse('register:place_new')}?inside={site.pk}"
    assert conservator.post(url, {"name": "Room 1", "kind": "room"}).status_code == 302
    assert conservator.post(url, {"name": "Room 1", "kind": "room"}).status_code == 422
    conservator.post(url, {"name": "Room 2", "kind": "room"})
    second = Place.objects.get(name="Room 2")
    conservator.post(reverse("register:place_shift", args=[second.pk]), {"way": "earlier"})
    assert walk() == ["Quay store", "Room 2", "Room 1"]
    assert "Remove Quay store" in conservator.get(reverse("register:place_delete", args=[second.pk])).content.decode()
    conservator.post(reverse("register:place_delete", args=[second.pk]))
    assert walk() == ["Quay store", "Room 1"]
    check_tree()


def test_an_address_that_names_no_place_is_refused_in_one_line(conservator):
    assert conservator.get(f"{reverse('register:place_new')}?inside=nonsense").status_code == 400
