"""The whole way of a file through the pages, as a conservator goes it."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from survey.models import ImportRow, Object, RegisterImport

pytestmark = pytest.mark.django_db
TEXT = "Object no,Called,Made of,H\nK 1,Jar,earthenware,12\nK 2,Dish,porcelain,0\nK 3,Coin,silver,1\n"
CHOSEN = {
    "source": "Stores register",
    "column-accession_number": "Object no",
    "column-simple_name": "Called",
    "column-material": "Made of",
    "column-height": "H",
    "length_unit": "in",
    "zero_is_missing": "on",
    "keep_how": "contains",
}


@pytest.fixture
def go(conservator, django_capture_on_commit_callbacks):
    def post(name, *args, **data):
        with django_capture_on_commit_callbacks(execute=True):
            response = conservator.post(reverse(f"register:{name}", args=args), data)
        # The job runs when the block ends, so the page that shows its outcome is asked for only now.
        return conservator.get(response["Location"]) if response.status_code == 302 else response

    return post


def upload(go, text=TEXT):
    page = go("import_new", file=SimpleUploadedFile("cards.csv", text.encode()))
    return page, RegisterImport.objects.order_by("-received_at").first()


def test_from_upload_to_undoing(go, conservator):
    page, batch = upload(go)
    text = page.content.decode()
    assert "What do the columns of cards.csv mean?" in text
    assert "Which unit is “H” in?" in text
    assert "earthenware / porcelain / silver" in text.replace('<span class="soft"> / </span>', " / ")

    page = go("import_match", batch.pk, **CHOSEN, keep_column="Made of", keep_words="earthenware, porcelain")
    text = page.content.decode()
    assert "2 new objects, 0 changed, 0 unchanged; 1 left out. Nothing is written yet." in text
    assert "Bring in 2 objects" in text
    assert not Object.objects.exists()

    page = go("import_bring_in", batch.pk)
    assert "2 objects made, 0 changed" in page.content.decode()
    assert Object.objects.get(number="K 1").height_mm == pytest.approx(304.8)
    assert Object.objects.get(number="K 2").height_mm is None

    _, second = upload(go, TEXT.replace("Jar", "Tall jar"))
    page = conservator.get(reverse("register:import", args=[second.pk])).content.decode()
    assert "known from Stores register" in page
    page = go("import_match", second.pk, **CHOSEN)
    assert "<del>Jar</del>" in conservator.get(f"{page.request['PATH_INFO']}?show=change").content.decode()
    go("import_bring_in", second.pk)
    assert Object.objects.get(number="K 1").simple_name == "Tall jar"

    assert "Undo the import" in conservator.get(reverse("register:import_undo", args=[second.pk])).content.decode()
    page = go("import_undo", second.pk)
    assert "The register is as it was before." in page.content.decode()
    assert Object.objects.get(number="K 1").simple_name == "Jar"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"column-accession_number": ""}, "column-accession_number"),
        ({"column-title": "Called"}, "column-title"),
        ({"column-title": "No such column"}, "column-title"),
        ({"length_unit": "cubits"}, "length_unit"),
        ({"source": ""}, "source"),
        ({"keep_column": "Called", "keep_words": " , "}, "keep_words"),
    ],
)
def test_a_wrong_choice_comes_back_with_its_reason(go, change, field):
    _, batch = upload(go)
    page = go("import_match", batch.pk, **CHOSEN | change)
    assert page.status_code == 422
    assert field in page.context["form"].errors
    assert not ImportRow.objects.exists()


def test_a_file_that_is_no_table_shows_its_one_line(go):
    page = go("import_new", file=SimpleUploadedFile("register.csv", b"%PDF-1.7 \x00"))
    assert "The file is a PDF, not a table" in page.content.decode()
    assert RegisterImport.objects.get().state == "refused"


def test_a_form_without_a_file_says_so(go):
    assert go("import_new").status_code == 422


def test_headings_with_markup_stay_text(go):
    page, _ = upload(go, 'number,"<b onclick=x>Title</b>"\n1,"<script>x</script>"\n')
    assert "<script>x" not in page.content.decode()
    assert "<b onclick" not in page.content.decode()


def test_a_list_of_rows_that_does_not_exist_is_refused(go, conservator):
    _, batch = upload(go)
    go("import_match", batch.pk, **CHOSEN)
    assert conservator.get(reverse("register:import", args=[batch.pk]) + "?show=all").status_code == 400


def test_a_reader_sees_but_does_not_write(go, reader):
    _, batch = upload(go)
    page = reader.get(reverse("register:import", args=[batch.pk])).content.decode()
    assert "Look the file through" not in page
    for name in ("import_match", "import_bring_in", "import_undo", "import_discard"):
        assert reader.post(reverse(f"register:{name}", args=[batch.pk])).status_code == 403


def test_a_file_that_is_gone_says_so(go, conservator, settings, tmp_path):
    _, batch = upload(go)
    settings.UPLOADS = tmp_path / "elsewhere"
    page = conservator.get(reverse("register:import", args=[batch.pk])).content.decode()
    assert "take it in again" in page


def test_an_import_is_put_away_after_a_question(go, conservator):
    _, batch = upload(go)
    assert (
        "Put cards.csv away?" in conservator.get(reverse("register:import_discard", args=[batch.pk])).content.decode()
    )
    go("import_discard", batch.pk)
    assert not RegisterImport.objects.exists()
