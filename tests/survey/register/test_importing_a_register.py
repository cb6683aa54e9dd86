"""A registrar's file comes in: looked through first, then written, once."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from media.base.models import Event, JobState
from survey.models import ImportRow, Object, RegisterImport, RegisterSource
from survey.register.db.selectors import imports as selectors
from survey.register.db.services import imports
from tests import builders

pytestmark = pytest.mark.django_db
SAMPLE = Path(__file__).parents[2] / "reference" / "data" / "open_register_sample.csv"
THREE = "Accession number,Title,Height (cm),Location\nK 1,Jar,20,Store A\nK 2,Dish,0,Store B\nK 3,Cup,8.5,\n"


def verdicts(batch):
    return {row.number: row.verdict for row in ImportRow.objects.filter(batch=batch)}


def test_nothing_is_written_before_it_is_confirmed(importing):
    batch = importing.looked(THREE)
    assert batch.state == "looked"
    assert batch.counts["create"] == 3
    assert not Object.objects.exists()


def test_brought_in_objects_hold_what_the_register_says(importing):
    importing.brought_in(THREE)
    jar, dish, cup = Object.objects.order_by("number")
    assert (jar.number, jar.number_key, jar.title, jar.height_mm) == ("K 1", "K 1", "Jar", 200)
    assert dish.height_mm is None, "zero means not recorded"
    assert (cup.place_text, cup.place_id, jar.place_text) == ("", None, "Store A"), "no places are invented"
    event = Event.objects.get(thread=str(jar.pk))
    assert (event.verb, event.became["title"], event.note) == ("brought in", "Jar", "From register.csv")


def test_the_same_file_again_writes_nothing(importing):
    importing.brought_in(THREE)
    events = Event.objects.filter(subject_kind="survey.object").count()
    again = importing.looked(THREE)
    assert again.counts["same"] == 3
    before = list(Object.objects.order_by("pk").values())
    importing.bring_in(again)
    assert list(Object.objects.order_by("pk").values()) == before
    assert Event.objects.filter(subject_kind="survey.object").count() == events


def test_a_changed_row_changes_only_what_differs(importing):
    importing.brought_in(THREE)
    batch = importing.brought_in(THREE.replace("K 1,Jar,20", "K 1,Large jar,20"))
    assert verdicts(batch) == {"K 1": "change", "K 2": "same", "K 3": "same"}
    event = Event.objects.get(verb="changed by import")
    assert (event.was, event.became) == ({"title": "Jar"}, {"title": "Large jar"})
    assert Object.objects.get(number="K 1").height_mm == 200


def test_what_a_person_corrected_stays_while_the_register_says_the_same(importing):
    importing.brought_in(THREE)
    Object.objects.filter(number="K 1").update(title="Storage jar")
    batch = importing.brought_in(THREE)
    row = ImportRow.objects.get(batch=batch, number="K 1")
    assert row.verdict == "same"
    assert "corrected here" in row.reason
    assert Object.objects.get(number="K 1").title == "Storage jar"


def test_rows_are_refused_one_by_one_with_row_and_column(importing):
    columns = {"accession_number": "Number", "height": "Height (cm)"}
    batch = importing.brought_in("Number,Height (cm)\nK 1,tall\nK 2,12\nK 2,13\n,4\n", columns=columns)
    refused = ImportRow.objects.filter(batch=batch, verdict="refused").order_by("line")
    reasons = list(refused.values_list("reason", flat=True))
    assert len(reasons) == 4
    assert reasons[0].startswith("Row 2, Height (cm): “tall”")
    assert "K 2" in reasons[1]
    assert reasons[3].startswith("Row 5, Number: ")
    assert not Object.objects.exists()


def test_only_rows_with_the_words_are_taken(importing):
    keep = {"column": "Title", "how": "contains", "words": ["jar", "cup"]}
    batch = importing.brought_in(THREE, keep=keep)
    assert (batch.counts["create"], batch.counts["left"]) == (2, 1)
    assert sorted(Object.objects.values_list("title", flat=True)) == ["Cup", "Jar"]


def test_an_object_that_left_the_register_is_left_alone(importing):
    gone = builders.an_object(number="K 1", withdrawn_at=builders.NOW, title="Old")
    batch = importing.brought_in(THREE)
    assert verdicts(batch)["K 1"] == "left"
    gone.refresh_from_db()
    assert gone.title == "Old"


def test_a_number_given_away_between_looking_and_writing_is_not_written_twice(importing):
    batch = importing.looked(THREE)
    builders.an_object(number="K 2", title="Mine")
    batch = importing.bring_in(batch)
    assert batch.state == "applied"
    assert Object.objects.get(number="K 2").title == "Mine"
    assert verdicts(batch) == {"K 1": "create", "K 2": "refused", "K 3": "create"}
    assert Object.objects.count() == 3


def test_a_field_changed_between_looking_and_writing_stays(importing):
    importing.brought_in(THREE)
    batch = importing.looked(THREE.replace("Jar,20,Store A", "Large jar,21,Store A"))
    Object.objects.filter(number="K 1").update(title="Storage jar")
    importing.bring_in(batch)
    thing = Object.objects.get(number="K 1")
    assert (thing.title, thing.height_mm) == ("Storage jar", 210)
    assert "left so: title" in ImportRow.objects.get(batch=batch, number="K 1").reason


def test_columns_are_remembered_for_the_next_file_of_a_source(importing):
    columns = {"accession_number": "Ref", "simple_name": "What"}
    importing.look(importing.receive("Ref,What\n1,Jar\n2,Dish\n"), source="Annexe cards", columns=columns)
    second = importing.receive("What,Ref\nCup,3\n")
    assert second.source == RegisterSource.objects.get(name="Annexe cards")
    assert second.columns == columns


def test_without_a_column_for_the_number_nothing_is_looked_through(importing):
    batch = importing.receive("Title,Made of\nJar,clay\nDish,clay\n")
    with pytest.raises(imports.FettleError, match="accession number"):
        importing.look(batch)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"%PDF-1.7 \x00\x01", "PDF"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 50, "image"),
        (b"number\n", "no rows"),
        (b"number,title\n1,a\n2,b,c\n", "Row 3"),
    ],
)
def test_a_file_that_is_no_register_is_refused_in_one_line(importing, data, words):
    """At once where its start shows it, else when it has been read: nothing of it is offered."""
    batch = importing.receive(data)
    if batch.state == "received":
        batch = importing.look(batch)
    assert batch.state == "refused"
    assert words in batch.error
    assert "\n" not in batch.error
    assert not ImportRow.objects.filter(batch=batch).exists()


def test_a_file_broken_far_down_leaves_nothing_half_looked_through(importing):
    rows = "".join(f"K {n},Jar {n}\n" for n in range(5200))
    batch = importing.looked(f"number,title\n{rows}K x,Jar,too many\n")
    assert batch.state == "refused"
    assert "Row 5202" in batch.error
    assert not ImportRow.objects.filter(batch=batch).exists()
    assert batch.job.state == JobState.DONE


def test_formulas_and_markup_come_in_as_text_and_go_out_harmless(importing, conservator):
    importing.brought_in('number,title\n1,"=HYPERLINK(""http://x"")"\n2,<script>alert(1)</script>\n')
    page = conservator.get("/register/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
    text = b"".join(conservator.get("/register/register.csv").streaming_content).decode("utf-8-sig")
    titles = [row["title"] for row in csv.DictReader(io.StringIO(text))]
    assert titles[0].startswith("'=")


def test_a_file_name_cannot_lead_out_of_the_uploads(importing, settings):
    batch = importing.receive(b"number\n1\n", name="../../etc/passwd")
    assert batch.file_name == "passwd"
    assert [path.name for path in Path(settings.UPLOADS).iterdir()] == [batch.sha256]


def test_a_file_too_large_is_refused_and_not_kept(importing, settings, monkeypatch):
    monkeypatch.setattr(imports, "Limits", lambda: type("Small", (), {"file_bytes": 10})())
    with pytest.raises(imports.FettleError, match="split it"):
        imports.receive([b"12345678901"], "a.csv", by=None, at=builders.NOW)
    assert list(Path(settings.UPLOADS).iterdir()) == []
    assert not RegisterImport.objects.exists()


def test_a_real_register_comes_in_as_its_file_says(importing):
    """400 records of an open data set (data/open_register_sample.md), counted here with the csv module alone."""
    with SAMPLE.open(encoding="utf-8", newline="") as file:
        records = list(csv.DictReader(file))
    batch = importing.brought_in(SAMPLE.read_bytes(), unit="in")
    assert batch.counts["total"] == len(records)
    made = {thing.number: thing for thing in Object.objects.all()}
    assert len(made) == batch.counts["create"]
    for record in records:
        thing = made.get(record["accession_number"])
        if thing is None:
            continue
        inches = float(record["item_height"] or 0)
        assert thing.height_mm == (pytest.approx(inches * 25.4, abs=0.001) if inches else None)
        assert thing.title == record["title"].strip()
        assert thing.source_id == record["id"]
    again = importing.looked(SAMPLE.read_bytes(), unit="in")
    assert again.counts["same"] == batch.counts["create"]
    assert again.counts["change"] == again.counts["create"] == 0


def test_an_import_is_put_away_with_its_file(importing, settings):
    batch = importing.looked(THREE)
    path = selectors.stored_file(batch.sha256)
    assert path.exists()
    imports.discard(batch, by=None, at=builders.NOW)
    assert not RegisterImport.objects.exists()
    assert not ImportRow.objects.exists()


def test_what_has_been_brought_in_is_not_put_away(importing):
    batch = importing.brought_in(THREE)
    with pytest.raises(imports.Clash):
        imports.discard(batch, by=None, at=builders.NOW)
