"""Years, sizes and looks that cannot be, in words that say what to do."""

from __future__ import annotations

import pytest

from survey.condition import plausible


@pytest.mark.parametrize(
    ("adhesive", "latest", "wrong"),
    [
        ("cellulose_nitrate", 1874, True),  # material from the 1870s: Heritage Science 2016, s40494-016-0116-z
        ("cellulose_nitrate", 1875, False),
        ("acrylic", 1920, True),  # in use about 1970 at one firm (from memory); the material since the 1930s to 1950s
        ("animal_glue", 1500, False),
        ("", 1500, False),
    ],
)
def test_an_adhesive_before_it_was_made(adhesive, latest, wrong):
    assert bool(plausible.of_adhesive(adhesive, "It", None, latest)) is wrong


def test_only_a_whole_span_before_counts():
    assert not plausible.of_adhesive("epoxy", "Epoxy", 1900, 1960)
    assert "before about 1945" in plausible.of_adhesive("epoxy", "Epoxy", 1900, None)[0]


def test_a_date_yet_to_come():
    assert plausible.of_dates(2027, 2030, year=2026) and not plausible.of_dates(2026, 2030, year=2026)
    assert not plausible.of_dates(None, None, year=2026)


def test_a_part_larger_than_its_object():
    assert len(plausible.of_sizes(300, 900, [200, None, 150])) == 2
    assert not plausible.of_sizes(8, 150, [200, None, 150])
    assert not plausible.of_sizes(300, 900, [None, None]), "nobody measured the object"


def test_looks_that_contradict_each_other():
    assert plausible.of_looks([2010, 2020], [3, 1], None)
    assert not plausible.of_looks([2010, 2020], [2, 1], None), "surveyors mistake one stage"
    assert "dated 2015" in plausible.of_looks([2010], [0], 2015)[0]
    assert not plausible.of_looks([], [], 2015)
