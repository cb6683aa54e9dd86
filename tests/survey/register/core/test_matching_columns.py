"""Columns find their fields, a person corrects them, and the next file of the source remembers."""

import json

import pytest

from survey.register.fields import FIELDS
from survey.register.matching import guess_columns, header_fingerprint, remembered
from survey.register.table import Row, plain


def a_sample(*rows):
    return [Row(i, tuple(row)) for i, row in enumerate(rows, start=2)]


# Headings as registers in five languages have them (common practice).
@pytest.mark.parametrize(
    "headings",
    [
        {"Accession No.": "accession_number", "Object Name": "simple_name", "Title": "title", "Medium": "material"},
        {"AccessionNumber": "accession_number", "objectName": "simple_name", "storage_location": "place"},
        {"Inv. Nr.": "accession_number", "Objektbezeichnung": "simple_name", "Datierung": "date_text",
         "Höhe (cm)": "height", "Breite (cm)": "width", "Tiefe (cm)": "depth", "Standort": "place"},
        {"Numéro d'inventaire": "accession_number", "Titre": "title", "Matières et techniques": "material",
         "Hauteur": "height", "Largeur": "width", "Diamètre": "diameter", "Domaine": "classification"},
        {"Número de inventario": "accession_number", "Título": "title", "Datación": "date_text", "Altura": "height",
         "Anchura": "width", "Peso": "weight", "Ubicación": "place"},
        {"Numero di inventario": "accession_number", "Titolo": "title", "Materia e tecnica": "material",
         "Altezza": "height", "Profondità": "depth", "Collocazione": "place"},
        {"Object ID": "source_id", "Object Number": "accession_number", "Date Made": "date_text",
         "Date Acquired": "acquired_on", "Credit Line": "credit_line", "Begin Date": "date_earliest",
         "End Date": "date_latest"},
    ],
)  # fmt: skip
def test_headings_in_many_words(headings):
    assert {guess.column: guess.field for guess in guess_columns(list(headings)).guesses} == headings


def test_no_heading_is_claimed_by_two_fields():
    claimed = [heading for field in FIELDS for heading in field.headings]
    assert len(claimed) == len(set(claimed))
    assert all(plain(heading) == heading for heading in claimed)


@pytest.mark.parametrize(
    "heading", ["Artist name", "Maker", "Image URL", "Donor location", "Frame height", "Insurance value"]
)
def test_what_is_said_of_something_else_is_no_field(heading):
    assert guess_columns(["Accession number", heading]).columns == {"accession_number": "Accession number"}


def test_each_guess_says_how_sure_it_is_and_why():
    number, height = guess_columns(
        ["Accession number", "Height"], a_sample(["K 1", "12"], ["K 2", "13"], ["K 3", "14"], ["K 4", "tall"])
    ).guesses
    assert number.confidence > height.confidence > 0.55
    assert number.reason == "the heading says “accession number”, and its values all differ"
    assert height.reason == "the heading says “height”, but few values are sizes"


def test_a_heading_that_its_values_belie_is_not_believed():
    sample = a_sample(*([f"K {i}", "see the file"] for i in range(9)))
    assert guess_columns(["Accession number", "Height"], sample).columns == {"accession_number": "Accession number"}


def test_values_that_repeat_are_no_accession_numbers():
    sample = a_sample(*([f"Box {i % 3}", f"K {i}", "jar"] for i in range(30)))
    matching = guess_columns(["Number", "Label", "Title"], sample)
    (guess,) = [g for g in matching.guesses if g.field == "accession_number"]
    assert (guess.column, guess.confidence < 0.5) == ("Label", True)
    assert "every value differs" in guess.reason


def test_a_file_without_any_number_asks_for_it():
    matching = guess_columns(["Title", "Medium"], a_sample(["jar", "clay"], ["jar", "clay"]))
    assert matching.missing == ("Accession number",)
    assert matching.questions == ("Which column is the accession number?",)


@pytest.mark.parametrize(
    ("heading", "unit"), [("item_height (in)", "in"), ("Height cm", "cm"), ("HeightMm", "mm"), ("Height", None)]
)
def test_a_unit_in_the_heading_is_taken_else_asked(heading, unit):
    matching = guess_columns(["No", heading], a_sample(["K 1", "12.5"], ["K 2", "0.0"]))
    assert matching.units.get("height") == unit
    assert (f"Which unit is “{heading}” in?" in matching.questions) is (unit is None)
    assert f"1 sizes of 0 stand in “{heading}”: does 0 mean “not recorded”?" in matching.questions


def test_values_that_carry_their_unit_need_no_question():
    assert guess_columns(["No", "Height"], a_sample(["K 1", "12.5 cm"], ["K 2", "3 in"])).questions == ()


def test_the_decimal_mark_is_told_from_the_column():
    assert guess_columns(["No", "Height"], a_sample(["K 1", "12,5"], ["K 2", "1,234"])).decimal == ","


def test_a_persons_choice_stands_over_the_guess_and_moves_the_column():
    matching = guess_columns(["Number", "Name", "Label"])
    changed = matching.corrected(
        {"title": "Name", "description": "Label"}, units={"height": "cm"}, zero_is_missing=True
    )
    assert changed.columns == {"accession_number": "Number", "title": "Name", "description": "Label"}
    assert changed.guesses[1].reason == "chosen by a person"
    assert changed.corrected({"title": None}).columns == {"accession_number": "Number", "description": "Label"}
    assert changed.unused == ()


@pytest.mark.parametrize(
    ("columns", "options", "words"),
    [
        ({"colour": "Name"}, {}, "colour"),
        ({"title": "Label"}, {}, "Label"),
        ({"title": "Name", "description": "Name"}, {}, "to two fields"),
        ({}, {"units": {"height": "kg"}}, "height a unit it cannot have: kg"),
        ({}, {"units": {"title": "cm"}}, "title"),
        ({}, {"decimal": ";"}, "decimal"),
    ],
)
def test_a_choice_that_makes_no_sense_is_refused(columns, options, words):
    with pytest.raises(ValueError, match=words):
        guess_columns(["Number", "Name"]).corrected(columns, **options)


def test_a_source_is_remembered_by_its_headings_and_survives_json():
    header = ["Nummer", "Größe (cm)", "Vermerk"]
    matching = guess_columns(header).corrected(
        {"accession_number": "Nummer", "height": "Größe (cm)", "description": "Vermerk"}, units={"height": "cm"}
    )
    saved = json.loads(json.dumps(matching.to_saved()))
    later = ["vermerk", "Nummer", "GRÖSSE (cm)"]
    assert header_fingerprint(later) == header_fingerprint(header) != header_fingerprint(header[:2])
    again = remembered(later, saved)
    assert again.columns == {"accession_number": "Nummer", "height": "GRÖSSE (cm)", "description": "vermerk"}
    assert again.units == {"height": "cm"}
    with pytest.raises(ValueError, match="Vermerk"):
        remembered(header[:2], saved)
