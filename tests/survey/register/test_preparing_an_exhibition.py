"""Exhibitions with their dates; checklists object by object and from the curators' list."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from media.base.errors import Clash, FettleError
from media.base.models import Event
from survey.models import ChecklistEntry, Exhibition
from survey.register.checklist import near_numbers
from survey.register.db import selectors
from survey.register.db.services import checklists, exhibitions
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


@pytest.fixture
def show():
    return builders.an_exhibition(name="Blue and white")


def test_the_current_exhibition_is_the_next_to_open():
    assert selectors.current_exhibition(TODAY) is None
    undated = Exhibition.objects.create(name="Some day")
    assert selectors.current_exhibition(TODAY) == undated
    past = builders.an_exhibition(opening=date(2026, 1, 5))
    builders.an_exhibition(opening=date(2025, 1, 5))
    assert selectors.current_exhibition(TODAY) == past
    later = builders.an_exhibition(opening=date(2026, 9, 1))
    soon = builders.an_exhibition(opening=date(2026, 6, 1))
    assert selectors.current_exhibition(TODAY) == soon
    exhibitions.close_exhibition(soon, by=None, at=NOW)
    assert selectors.current_exhibition(TODAY) == later


def test_an_opening_today_is_still_to_come():
    today = builders.an_exhibition(opening=TODAY)
    builders.an_exhibition(opening=date(2026, 9, 1))
    assert selectors.current_exhibition(TODAY) == today


@pytest.mark.parametrize(
    ("dates", "words"),
    [
        (
            {"case_closing": "2026-06-01", "opening": "2026-05-01"},
            "Opening on 1 May 2026 would come before case closing",
        ),
        ({"photography": "2026-06-02", "opening": "2026-06-01"}, "before photography on 2 June 2026"),
        ({"opening": "2026-06-01", "end": "2026-06-01"}, "End on 1 June 2026 would come with opening"),
    ],
)
def test_dates_out_of_order_are_refused_in_words(conservator, dates, words):
    response = conservator.post(reverse("register:exhibition_new"), {"name": "Ewers", **dates})
    assert response.status_code == 422
    assert words in response.content.decode()
    assert not Exhibition.objects.exists()


def test_an_exhibition_is_set_up_changed_closed_and_opened_again(conservator):
    conservator.post(reverse("register:exhibition_new"), {"name": "Ewers", "opening": "2026-06-01"})
    made = Exhibition.objects.get()
    assert selectors.milestones_of(made) == {"opening": date(2026, 6, 1)}
    page = reverse("register:exhibition_edit", args=[made.pk])
    assert 'value="2026-06-01"' in conservator.get(page).content.decode()
    conservator.post(page, {"name": "Ewers and jugs", "case_closing": "2026-05-20"})
    made.refresh_from_db()
    assert (made.name, selectors.milestones_of(made)) == ("Ewers and jugs", {"case_closing": date(2026, 5, 20)})
    assert conservator.post(page, {"name": ""}).status_code == 422
    conservator.post(reverse("register:exhibition_close", args=[made.pk]))
    made.refresh_from_db()
    assert made.closed_at
    conservator.post(reverse("register:exhibition_reopen", args=[made.pk]))
    made.refresh_from_db()
    assert made.closed_at is None
    assert list(Event.objects.values_list("verb", flat=True)) == ["set up", "changed", "closed", "opened again"]


def test_two_exhibitions_do_not_share_a_name(show):
    with pytest.raises(Clash, match="already an exhibition"):
        exhibitions.create_exhibition(name="Blue and white", dates={}, by=None, at=NOW)


def test_an_object_comes_on_by_its_number_goes_and_comes_back(conservator, show):
    thing = builders.an_object(number="K 00412")
    add = reverse("register:entry_add", args=[show.pk])
    data = {"number": "K  00412", "section": "Potters", "use": "open_mount", "importance": "5"}
    assert conservator.post(add, data).status_code == 302
    entry = ChecklistEntry.objects.get()
    assert selectors.entry_map(show) == {thing.pk: entry}
    assert (entry.section, entry.use, entry.importance, entry.need_by) == ("Potters", "open_mount", 5, None)
    assert conservator.post(add, data).status_code == 422
    conservator.post(reverse("register:entry_remove", args=[entry.pk]))
    assert selectors.entry_map(show) == {}
    page = conservator.get(reverse("register:exhibition", args=[show.pk])).content.decode()
    assert "Put back" in page
    conservator.post(reverse("register:entry_restore", args=[entry.pk]))
    assert list(selectors.entry_map(show)) == [thing.pk]
    verbs = Event.objects.filter(thread=str(thing.pk)).order_by("pk").values_list("verb", flat=True)
    assert list(verbs) == ["put on the checklist", "taken off the checklist", "put back on the checklist"]


def test_an_unknown_number_is_answered_with_its_neighbours(show):
    builders.an_object(number="K 00412")
    with pytest.raises(FettleError, match=r"No object has the number K 0412\. Did you mean K 00412\?"):
        checklists.add_entry(show, "K 0412", said={}, by=None, at=NOW)


def test_a_closed_checklist_does_not_change(show):
    entry = builders.an_entry(show, builders.an_object())
    exhibitions.close_exhibition(show, by=None, at=NOW)
    with pytest.raises(Clash, match="closed"):
        checklists.remove_entry(entry, by=None, at=NOW)
    with pytest.raises(Clash, match="closed"):
        checklists.add_entry(show, builders.an_object().number, said={}, by=None, at=NOW)
    with pytest.raises(Clash, match="closed"):
        checklists.apply_list(show, "K 1", by=None, at=NOW)


LIST = """Accession no.;Section;Use;Need-by;Importance
K 1;Potters;open mount;2026-05-01;5
K 2;;in a case;;
K 3;Trade;;31/02/2026;
K 0004;;;;
K 1;;;;
K 5;;;;9
"""


def test_a_curators_list_is_looked_through_then_taken(conservator, show):
    for n in (1, 2, 3, 4, 5):
        builders.an_object(number=f"K {n}")
    builders.an_entry(show, builders.an_object(number="K 9"))
    text = LIST.replace("Accession no.", "Accession number")
    assert [each.did for each in checklists.plan_list(show, text)] == [
        "new", "new", "refused", "unmatched", "refused", "refused",
    ]  # fmt: skip
    url = reverse("register:list_import", args=[show.pk])
    page = conservator.post(url, {"text": text})
    assert "Nothing has been written yet" in page.content.decode()
    assert show.entries.count() == 1
    assert conservator.post(url, {"text": text, "confirmed": "yes"}).status_code == 302
    first = show.entries.get(object__number="K 1")
    assert (first.section, first.use, first.need_by, first.importance) == ("Potters", "open_mount", date(2026, 5, 1), 5)
    assert set(show.entries.values_list("object__number", flat=True)) == {"K 1", "K 2", "K 9"}
    assert Event.objects.filter(verb="put on the checklist").count() == 2


def test_the_same_list_again_changes_nothing(show):
    builders.an_object(number="K 1")
    text = "number,section\nK 1,Potters\n"
    checklists.apply_list(show, text, by=None, at=NOW)
    events = Event.objects.count()
    assert checklists.apply_list(show, text, by=None, at=NOW)["same"] == 1
    assert Event.objects.count() == events


def test_a_list_changes_and_brings_back_but_says_nothing_by_empty_cells(show):
    first = builders.an_entry(show, builders.an_object(number="K 1"), section="Potters", importance=5)
    second = builders.an_entry(show, builders.an_object(number="K 2"), section="Trade", removed_at=NOW)
    counts = checklists.apply_list(show, "number,section,importance\nK 1,,4\nK 2,,\n", by=None, at=NOW)
    assert (counts["changed"], counts["back"]) == (1, 1)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.section, first.importance) == ("Potters", 4)
    assert (second.section, second.removed_at) == ("Trade", None)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "Paste accession numbers"),
        ("   \n\n", "Paste accession numbers"),
        ("number,section\n", "nothing below"),
        ("K 1\n" * 5001, "at most 5,000"),
        ('"K 1\nK 2', "Line 1 cannot be read"),
    ],
)
def test_a_list_that_cannot_be_read_is_refused_in_one_line(conservator, show, text, words):
    response = conservator.post(reverse("register:list_import", args=[show.pk]), {"text": text})
    assert response.status_code == 422
    assert words in response.content.decode()


def test_an_uploaded_list_must_be_text(conservator, show):
    url = reverse("register:list_import", args=[show.pk])
    upload = SimpleUploadedFile("list.csv", b"\xff\xfe\x00\x01")
    assert conservator.post(url, {"file": upload}).status_code == 422
    builders.an_object(number="K 1")
    upload = SimpleUploadedFile("list.csv", "\ufeffnumber\nK 1\n".encode())
    assert "1 come onto the checklist" in conservator.post(url, {"file": upload}).content.decode()


def test_near_numbers_stay_quick_in_a_large_register():
    keys = sorted(f"K {n:05d}" for n in range(100_000))
    assert near_numbers("K 0412", keys)[0].startswith("K 0")
