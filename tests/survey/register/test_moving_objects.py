"""Objects are added, found, corrected, moved and withdrawn by hand."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest
from django.urls import reverse

from media.base.errors import Clash, FettleError
from media.base.models import Event
from survey.models import Object, ObjectMove
from survey.register.db.selectors.objects import Wanted, find_objects
from survey.register.db.services import objects
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db


def test_a_move_is_recorded_and_undone():
    here, there = builders.a_place(name="Here"), builders.a_place(name="There")
    thing = builders.an_object(place=here)
    objects.move_object(thing, there, reason="Shelf needed", by=None, at=NOW)
    thing.refresh_from_db()
    assert thing.place == there
    objects.undo_last_move(thing, by=None, at=NOW)
    thing.refresh_from_db()
    assert thing.place == here
    assert [move.to_place for move in ObjectMove.objects.order_by("pk")] == [there, here], "the record keeps both"
    assert Event.objects.filter(thread=str(thing.pk), verb="moved").count() == 2


def test_moving_to_where_it_stands_does_nothing():
    here = builders.a_place()
    thing = builders.an_object(place=here)
    assert objects.move_object(thing, here, by=None, at=NOW) is None
    assert not ObjectMove.objects.exists()


def test_what_never_moved_cannot_be_put_back():
    with pytest.raises(Clash, match="never been moved"):
        objects.undo_last_move(builders.an_object(), by=None, at=NOW)


def test_the_pages_move_and_undo(conservator):
    here, there = builders.a_place(name="Here"), builders.a_place(name="There")
    thing = builders.an_object(place=here)
    url = reverse("register:object_move", args=[thing.pk])
    page = conservator.post(url, {"place": there.pk, "reason": "Shelf needed"}, follow=True).content.decode()
    assert "Undo this move" in page
    assert "Shelf needed" in page
    conservator.post(reverse("register:object_move_undo", args=[thing.pk]))
    thing.refresh_from_db()
    assert thing.place == here


def test_an_object_is_added_with_its_place(conservator):
    shelf = builders.a_place()
    data = {"number": " K  00412 ", "simple_name": "jar", "height_mm": "210.5", "significance": "4", "place": shelf.pk}
    assert conservator.post(reverse("register:object_new"), data).status_code == 302
    made = Object.objects.get()
    assert (made.number, made.number_key, made.height_mm, made.significance) == ("K 00412", "K 00412", 210.5, 4)
    assert (made.place, made.mass_kg) == (shelf, None)
    assert made.moves.get().to_place == shelf


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"number": ""}, "number"),
        ({"number": "K 1"}, "number"),
        ({"number": "K 2", "height_mm": "-3"}, "height_mm"),
        ({"number": "K 2", "height_mm": "0"}, "height_mm"),
        ({"number": "K 2", "height_mm": "nan"}, "height_mm"),
        ({"number": "K 2", "mass_kg": "999999"}, "mass_kg"),
        ({"number": "K 2", "significance": "6"}, "significance"),
        ({"number": "K 2", "date_earliest": "1900", "date_latest": "1800"}, "date_latest"),
        ({"number": "K 2", "title": "a\0b"}, "title"),
        ({"number": "x" * 121}, "number"),
    ],
)
def test_a_wrong_form_comes_back_with_what_was_typed(conservator, data, field):
    builders.an_object(number="K 1")
    response = conservator.post(reverse("register:object_new"), {"simple_name": "blue jar", **data})
    assert response.status_code == 422
    assert field in response.context["form"].errors
    assert "blue jar" in response.content.decode()
    assert Object.objects.count() == 1


def test_a_correction_keeps_what_was(conservator):
    thing = builders.an_object(number="K 1", title="Jar")
    data = {"number": "K 1", "simple_name": "jar", "title": "Albarello"}
    conservator.post(reverse("register:object_edit", args=[thing.pk]), data)
    event = Event.objects.get(verb="changed", thread=str(thing.pk))
    assert (event.was, event.became) == ({"title": "Jar"}, {"title": "Albarello"})


def test_saving_without_a_change_records_nothing():
    thing = builders.an_object(title="Jar")
    objects.change_object(thing, {"title": "Jar"}, by=None, at=NOW)
    assert not Event.objects.exists()


def test_an_object_leaves_the_register_and_comes_back(conservator):
    thing = builders.an_object(number="K 7")
    url = reverse("register:object_withdraw", args=[thing.pk])
    assert conservator.post(url, {"reason": ""}).status_code == 422
    conservator.post(url, {"reason": "Returned to its lender"}, follow=True)
    assert "K 7" not in conservator.get(reverse("register:objects")).content.decode()
    assert "K 7" in conservator.get(f"{reverse('register:objects')}?left=1").content.decode()
    assert Event.objects.get(verb="withdrawn").note == "Returned to its lender"
    conservator.post(reverse("register:object_take_back", args=[thing.pk]))
    thing.refresh_from_db()
    assert thing.withdrawn_at is None


def test_an_object_on_a_checklist_does_not_leave():
    thing = builders.an_object()
    builders.an_entry(builders.an_exhibition(name="Blue and white"), thing)
    with pytest.raises(Clash, match="Blue and white"):
        objects.withdraw_object(thing, reason="lost", by=None, at=NOW)
    with pytest.raises(FettleError, match="why"):
        objects.withdraw_object(builders.an_object(), reason=" ", by=None, at=NOW)


def test_words_and_filters_find_objects():
    room = builders.a_place(kind="room", name="Room 5")
    shelf = builders.a_place(parent=room, name="Shelf 1")
    exhibition = builders.an_exhibition()
    jar = builders.an_object(number="K 00412", title="Tall jar", material="tin-glazed earthenware", place=shelf)
    dish = builders.an_object(number="K 00413", title="Deep dish", material="porcelain")
    builders.an_entry(exhibition, dish)
    builders.an_entry(exhibition, jar, removed_at=NOW)
    for wanted, found in [
        (Wanted(words="00412"), {jar}),
        (Wanted(words="TALL glazed"), {jar}),
        (Wanted(words="tall porcelain"), set()),
        (Wanted(words="Room 5"), {jar}),
        (Wanted(place=room), {jar}),
        (Wanted(placed="no"), {dish}),
        (Wanted(placed="yes"), {jar}),
        (Wanted(exhibition=exhibition), {dish}),
        (Wanted(words="%"), set()),
    ]:
        assert set(find_objects(wanted)) == found, wanted


@pytest.mark.parametrize("query", ["?place=x", "?on=zz", "?after=forged", f"?place={'0' * 400}"])
def test_a_forged_address_is_refused_in_one_line(reader, query):
    assert reader.get(reverse("register:objects") + query).status_code == 400


def test_odd_searches_find_nothing_and_break_nothing(reader):
    builders.an_object()
    for words in ["%00", "%27%3B--", "%25", "a" * 5000, "%F0%9F%98%80", " ".join("abcdefghij")]:
        assert reader.get(f"{reverse('register:objects')}?q={words}").status_code == 200


def test_the_list_goes_out_as_csv_and_workbook(reader):
    builders.an_object(number="K 1", title="=1+1", height_mm=12.5)
    builders.an_object(number="K 2", title="-dish", simple_name="@plate")
    text = b"".join(reader.get("/register/register.csv").streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(row["accession_number"], row["title"], row["height_mm"]) for row in rows] == [
        ("K 1", "'=1+1", "12.5"),
        ("K 2", "'-dish", ""),
    ]
    data = b"".join(reader.get("/register/register.xlsx?q=plate").streaming_content)
    sheet = openpyxl.load_workbook(io.BytesIO(data)).active
    assert sheet.max_row == 2
    assert sheet["A2"].value == "K 2"
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
