"""Dates as registers write them. What parts of centuries mean is common practice; the open data give a measure."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.register.dates import parse_day, parse_year, parse_years


@pytest.mark.parametrize(
    ("text", "earliest", "latest"),
    [
        ("1926", 1926, 1926),
        ("c. 1860", 1855, 1865),
        ("ca.1860", 1855, 1865),
        ("1860?", 1855, 1865),
        ("1880-1890", 1880, 1890),
        ("1880–90", 1880, 1890),
        ("c. 1925-1940", 1920, 1945),
        ("18th century", 1700, 1799),
        ("late 18th-early 19th century", 1775, 1825),
        ("17th-19th century", 1600, 1899),
        ("second half of the 19th century", 1850, 1899),
        ("last quarter of the 19th century", 1875, 1899),
        ("mid-17th century", 1625, 1675),
        ("mid to late 18th century", 1725, 1799),
        ("1860s", 1860, 1869),
        ("1870-1880s", 1870, 1889),
        ("before 1800", None, 1800),
        ("1922 or earlier", None, 1922),
        ("after 1625", 1625, None),
        ("after 1945, before 1957", 1945, 1957),
        ("5th-4th century BCE", -499, -300),
        ("1st century BCE", -99, -1),
        ("206 BCE-220 CE", -206, 220),
        ("480-256 B.C.", -480, -256),
        ("c. 3 BCE", -8, 3),
        ("14. Jh. v. Chr.", -1399, -1300),
        ("18. Jahrhundert", 1700, 1799),
        ("XVIIIe siècle", 1700, 1799),
        ("siglo XVIII", 1700, 1799),
        ("sec. XVI", 1500, 1599),
        ("Edo period (1603-1867), 19th century", 1800, 1899),
        ("Qianlong period (1736-1795)", 1736, 1795),
        ("designed 1926, manufactured 1930", 1926, 1930),
        ("1855-01-01", 1855, 1855),
        ("11/13/1918", 1918, 1918),
        ("4.5.1926", 1926, 1926),
        ("May 4, 1926", 1926, 1926),
        ("Design Patent 12,345, 1890", 1890, 1890),
        ("no date", None, None),
        ("", None, None),
        ("postwar", None, None),
    ],
)
def test_first_and_last_possible_year(text, earliest, latest):
    assert parse_years(text) == (earliest, latest)


@pytest.mark.parametrize(
    ("text", "year"),
    [
        ("1855-01-01", 1855),
        ("-0500-01-01", -500),
        ("1855", 1855),
        ("1855.0", 1855),
        ("c. 1855", None),
        ("", None),
        ("0", None),
    ],
)
def test_a_column_of_years(text, year):
    assert parse_year(text) == year


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("1979-12-06", "1979-12-06"),
        ("1979-12", "1979-12"),
        ("1979", "1979"),
        ("6.12.1979", "1979-12-06"),
        ("6 December 1979", "1979-12-06"),
        ("Dec 6, 1979", "1979-12-06"),
        ("25/12/1979", "1979-12-25"),
        ("12/25/1979", "1979-12-25"),
        ("03/04/1979", None),
        ("1979-02-30", None),
        ("spring 1979", None),
    ],
)
def test_a_calendar_date_is_as_exact_as_it_was_written(text, day):
    assert parse_day(text) == day


@given(st.text(max_size=60) | st.text("0123456789 -/.cathBCE?s()", max_size=40))
def test_no_text_is_refused_and_years_are_in_order(text):
    earliest, latest = parse_years(text)
    assert earliest is None or latest is None or earliest <= latest
    assert 0 not in (earliest, latest)
    parse_year(text), parse_day(text)
