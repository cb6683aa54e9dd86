"""A register comes in from the command line: first shown, then written."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import CommandError, call_command

from survey.models import ImportRow, Object

pytestmark = pytest.mark.django_db
TEXT = "Accession number;Title;Height;Kind\nK 1;Jar;12,5;pottery\nK 2;Dish;0;pottery\nK 3;Coin;1;metal\n"


@pytest.fixture
def stores(tmp_path):
    path = tmp_path / "stores.csv"
    path.write_text(TEXT, encoding="utf-8")
    return path


def run(*arguments):
    out = io.StringIO()
    call_command("import_register", *map(str, arguments), stdout=out, stderr=io.StringIO())
    return out.getvalue()


def test_without_yes_it_only_shows(stores):
    out = run(stores, "--source", "Stores", "--unit", "cm", "--zero-is-not-recorded")
    assert "nothing written yet" in out
    assert "3  new" in out
    assert not Object.objects.exists()


def test_with_yes_it_writes(stores):
    run(stores, "--source", "Stores", "--unit", "in", "--zero-is-not-recorded", "--keep", "Kind=pottery", "--yes")
    assert dict(Object.objects.values_list("number", "height_mm")) == {"K 1": 317.5, "K 2": None}


def test_machines_read_counts(stores):
    counts = json.loads(run(stores, "--source", "Stores", "--unit", "cm", "--json", "--yes"))
    assert (counts["state"], counts["create"], counts["refused"], counts["total"]) == ("applied", 2, 1, 3)


def test_a_guess_is_corrected(stores):
    run(
        stores, "--source", "Stores", "--unit", "cm", "--column", "simple_name=Title", "--column", "title=Kind", "--yes"
    )
    assert Object.objects.get(number="K 1").simple_name == "Jar"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--keep", "Kind"], "not of the form"),
        (["--keep", "Sort=pottery"], "a column that this file does not have"),
        (["--column", "height=Breadth"], "Breadth"),
        (["--column", "colour=Kind"], "no field colour"),
    ],
)
def test_a_wrong_option_is_one_clear_line(stores, arguments, words):
    with pytest.raises(CommandError, match=words) as error:
        run(stores, "--source", "Stores", *arguments)
    assert "\n" not in str(error.value)
    assert not ImportRow.objects.exists()


def test_a_file_that_is_not_there_or_no_register_is_one_clear_line(tmp_path):
    with pytest.raises(CommandError, match="cannot be read"):
        run(tmp_path / "none.csv", "--source", "Stores")
    (tmp_path / "list.pdf").write_bytes(b"%PDF-1.7")
    with pytest.raises(CommandError, match="is a PDF"):
        run(tmp_path / "list.pdf", "--source", "Stores")
    (tmp_path / "bad.csv").write_text("number,title\n1,a\n2,b,c,d\n")
    with pytest.raises(CommandError, match="Row 3"):
        run(tmp_path / "bad.csv", "--source", "Stores")
    assert not Object.objects.exists()


def test_help_shows_an_example(capsys):
    with pytest.raises(SystemExit):
        call_command("import_register", "--help")
    assert "manage.py import_register stores.csv" in capsys.readouterr().out
