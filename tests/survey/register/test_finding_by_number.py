"""A number is found however its capitals and blanks are typed, and never the wrong object for it."""

from __future__ import annotations

import pytest
from django.urls import reverse

from survey.condition.db.selectors.walking import by_number
from survey.register.db.selectors.objects import Wanted, find_objects
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db


def found(words):
    return [thing.number for thing in find_objects(Wanted(words=words)).order_by("number_key")]


@pytest.mark.parametrize("typed", ["K 9", "k9", "K9", "k  9", " k 9 "])
def test_capitals_and_blanks_do_not_count(typed):
    thing = builders.an_object(number="K 9")
    builders.an_object(number="M 4")
    assert found(typed) == ["K 9"]
    assert by_number(typed) == thing


@pytest.mark.parametrize("typed", ["pt 1931.44a", "PT1931.44 A", "pt1931.44a"])
def test_blanks_typed_where_none_are_written_do_not_count_either(typed):
    thing = builders.an_object(number="PT1931.44a")
    assert by_number(typed) == thing


def test_as_written_goes_before_other_capitals_and_those_before_other_blanks():
    plain, small, tight = (builders.an_object(number=number) for number in ("K 1 23", "k 1 23", "K 12 3"))
    assert by_number("K 1 23") == plain
    assert by_number("k 1 23") == small
    assert by_number("k 12 3") == tight


def test_a_number_that_may_be_two_is_neither():
    builders.an_object(number="K 1 23")
    builders.an_object(number="K 12 3")
    assert by_number("k123") is None
    assert found("k123") == ["K 1 23", "K 12 3"]


def test_an_object_that_has_left_is_not_found_by_another_spelling():
    builders.an_object(number="K 9", withdrawn_at=NOW)
    assert by_number("k9") is None and found("k9") == []


def test_the_register_page_finds_it_too(reader):
    builders.an_object(number="K 9")
    assert "K 9" in reader.get(reverse("register:objects"), {"q": "k9 jar"}).content.decode()
    assert "Nothing fits" in reader.get(reverse("register:objects"), {"q": "k8"}).content.decode()
