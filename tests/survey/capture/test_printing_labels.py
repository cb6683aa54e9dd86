"""Labels: what their square says is read back by an independent reader from the sheet as it is printed."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext

from survey.capture.db.selectors import labelling
from survey.capture.db.selectors.labelling import Asked
from survey.condition.db.models import Handling
from survey.models import Assessment, ChecklistEntry, Exhibition, Place
from survey.register.label_sheets import draw
from survey.register.labels import MARGIN, PAPERS, SIZES, Label, Sheet, read, said_by
from tests.builders import NOW, a_person, an_object

MADE = datetime(2026, 3, 2, 9, tzinfo=UTC)


def some_labels(count: int, **fields) -> list[Label]:
    return [Label(uuid.uuid4(), f"LC 1931/{i}", "bowl with ships", **fields) for i in range(count)]


def squares(document: bytes, page: int = 0, dpi: int = 200) -> list[str]:
    """What the squares on a page say, by a reader of another house (zxing-cpp) from the page as pdfium renders it."""
    picture = pypdfium2.PdfDocument(document)[page].render(scale=dpi / 72).to_pil()
    return [found.text for found in zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("paper", PAPERS)
def test_every_square_of_a_sheet_is_read_back(paper, size):
    sheet = Sheet(paper, size)
    labels = some_labels(sheet.each + 1, do_not_lift=True)
    document = draw(labels, sheet, labelling.fonts(), made=MADE)
    assert len(pypdfium2.PdfDocument(document)) == 2
    told = [read(said) for page in (0, 1) for said in squares(document, page)]
    assert sorted(map(str, told)) == sorted(str(label.id) for label in labels)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("paper", PAPERS)
def test_labels_lie_on_the_paper_and_not_on_each_other(paper, size):
    (width, height), (across, down) = PAPERS[paper], SIZES[size]
    corners = Sheet(paper, size).corners()
    assert len(set(corners)) == len(corners) >= 6
    assert all(x >= MARGIN and x + across <= width - MARGIN + 1e-9 for x, _ in corners)
    assert all(y >= MARGIN and y + down <= height - MARGIN + 1e-9 for _, y in corners)
    for i, (x, y) in enumerate(corners):
        assert all(abs(x - a) >= across - 1e-9 or abs(y - b) >= down - 1e-9 for a, b in corners[:i])


def test_a_square_says_a_urn_that_the_standard_library_reads():
    thing = uuid.uuid4()
    assert uuid.UUID(said_by(thing).lower()) == thing  # the standard library takes urn:uuid as RFC 9562 writes it
    assert read(said_by(thing)) == thing == read(said_by(thing).lower())


@pytest.mark.parametrize("said", ["", "https://example.org/", "urn:uuid:1", "urn:isbn:0451450523", "x" * 5000, "\0"])
def test_what_is_no_label_of_ours_names_nothing(said):
    assert read(said) is None


def words_on(document: bytes) -> str:
    return str(pypdfium2.PdfDocument(document)[0].get_textpage().get_text_range())


@pytest.mark.parametrize("size", SIZES)
def test_what_must_not_be_lifted_says_so_and_since_when(size):
    sheet = Sheet("A4", size)
    warned = words_on(draw(some_labels(1, do_not_lift=True), sheet, labelling.fonts(), made=MADE))
    assert "Do not lift" in warned and "2 Mar 2026" in warned
    assert "lift" not in words_on(draw(some_labels(1), sheet, labelling.fonts(), made=MADE))


@pytest.mark.parametrize("number", ["K 9", "x" * 120, "Ωμέγα 7/б", "陶 12", "\U0001f3fa 3", "a\nb"])
def test_any_number_and_name_can_be_printed(number):
    label = Label(uuid.uuid4(), number, "a very long name " * 30, "a place " * 40, do_not_lift=True)
    document = draw([label], Sheet("Letter", "small"), labelling.fonts(), made=MADE)
    assert [read(said) for said in squares(document)] == [label.id]


@pytest.fixture
def shelf(db) -> Place:
    room = Place.objects.create(kind="room", name="Store", path="00001.", full_name="Store", position=1)
    return Place.objects.create(
        kind="shelf", name="Shelf 1", path="00001.00001.", full_name="Store · Shelf 1", parent=room, position=1
    )


def not_liftable(thing) -> None:
    Assessment.objects.create(
        object=thing, surveyor=a_person(), definitions=1, started_at=NOW, finished_at=NOW,
        handling=Handling.DO_NOT_LIFT,
    )  # fmt: skip


def test_objects_of_a_place_come_in_walking_order_with_their_sign(shelf):
    things = [an_object(joints=0, number=f"K {i}", number_key=f"K {i}", place=shelf) for i in (1, 2, 3)]
    not_liftable(things[1])
    told = labelling.labels(Asked(place=shelf.parent))
    assert [(label.number, label.do_not_lift) for label in told] == [("K 1", False), ("K 2", True), ("K 3", False)]
    assert [label.number for label in labelling.labels(Asked("shelves", place=shelf.parent))] == ["Shelf 1"]


def test_a_checklist_is_labelled_by_section_each_object_once(db):
    shown, other = (Exhibition.objects.create(name=name) for name in ("Glaze", "Salt"))
    for i, section in enumerate(("b", "a", "a")):
        thing = an_object(joints=0, number=f"K {i}", number_key=f"K {i}")
        for exhibition in (shown, other):
            ChecklistEntry.objects.create(exhibition=exhibition, object=thing, section=section)
    assert [label.number for label in labelling.labels(Asked(exhibition=shown))] == ["K 1", "K 2", "K 0"]
    assert [label.number for label in labelling.labels(Asked(exhibition=shown, section="b"))] == ["K 0"]
    assert labelling.count(Asked(exhibition=shown, section="a")) == 2


def test_one_label_and_fifty_ask_the_database_as_often(shelf):
    counts = []
    for more in (1, 49):
        for _ in range(more):
            an_object(joints=0, place=shelf)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            labelling.labels(Asked(place=shelf))
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 6


def test_the_page_shows_what_it_prints_and_gives_the_sheets(reader, shelf):
    an_object(joints=0, number="K 7", number_key="K 7", place=shelf)
    page = reader.get("/capture/labels/", {"place": shelf.pk, "size": "small"})
    assert "K 7" in page.content.decode() and page.context["sheets"] == 1
    answer = reader.get(f"/capture/labels/labels.pdf?{page.context['files'][0]['query']}")
    assert answer["Content-Type"] == "application/pdf" and answer.content.startswith(b"%PDF")
    assert len(squares(answer.content)) == 1


@pytest.mark.parametrize(
    "query",
    [{}, {"place": "x"}, {"place": str(uuid.uuid4())}, {"list": "x:=y"}, {"size": "huge"}, {"paper": "A0"},
     {"list": str(uuid.uuid4()), "from": "-1"}],
)  # fmt: skip
def test_sheets_that_nobody_can_make_are_refused_in_a_line(reader, query):
    assert reader.get("/capture/labels/labels.pdf", query).status_code in {400, 404}


def test_a_reader_held_at_the_desk_finds_object_and_shelf_by_the_search(reader, shelf):
    thing = an_object(joints=0, place=shelf)
    assert reader.get("/register/", {"q": said_by(thing.pk)}).url == f"/objects/{thing.pk}/"
    assert reader.get("/register/", {"q": said_by(shelf.pk)}).url == f"/places/{shelf.pk}/"
    assert reader.get("/register/", {"q": said_by(uuid.uuid4())}).status_code == 404
