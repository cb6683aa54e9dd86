"""Versions of markup: a later one takes the place of its own author's, in whatever order they come; none is lost."""

from __future__ import annotations

import itertools
import uuid

import pytest

from media.base.errors import FettleError
from media.markup import geometry
from media.markup.db import selectors, services
from media.models import Event, Markup, Photograph
from tests.builders import NOW, a_person
from tests.media.markup.test_measuring_shapes import SCALE, a_drawing, a_mark

pytestmark = pytest.mark.django_db
NAME = "ab" * 32


def drawn(by, *, after=(), id=None, **fields) -> Markup:
    drawing = geometry.read(a_drawing(a_mark(), scale=SCALE, **fields))
    return services.add_version(NAME, drawing, after=after, by=by, at=NOW, id=id)


def standing() -> set[uuid.UUID]:
    return {row.pk for row in selectors.standing_on([NAME]).get(NAME, [])}


def test_a_change_takes_the_place_of_what_it_changed_and_both_are_kept():
    ana = a_person()
    first = drawn(ana)
    second = drawn(ana, after=[str(first.pk)])
    assert standing() == {second.pk}
    assert {row.pk for row in selectors.versions_of(NAME)} == {first.pk, second.pk}
    assert Event.objects.filter(subject_id=str(second.pk), verb="drawn").exists()


def test_two_people_keep_what_each_drew():
    first, second = drawn(a_person()), drawn(a_person())
    third = drawn(second.author, after=[str(first.pk), str(second.pk)])
    assert standing() == {first.pk, third.pk}  # nobody takes another's place


def test_one_person_on_two_tablets_loses_neither():
    ana = a_person()
    first = drawn(ana)
    left, right = (drawn(ana, after=[str(first.pk)]) for _ in range(2))
    assert standing() == {left.pk, right.pk}
    last = drawn(ana, after=[str(left.pk), str(right.pk)])
    assert standing() == {last.pk}


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_what_stands_does_not_depend_on_the_order_of_arrival(order):
    ana, names = a_person(), [uuid.uuid4() for _ in range(3)]
    chain = [(), (str(names[0]),), (str(names[1]),)]
    for i in order:
        drawn(ana, id=names[i], after=chain[i])
    assert standing() == {names[2]}


def test_a_drawing_of_another_size_than_the_photograph_is_refused():
    Photograph.objects.create(sha256=NAME, kind="jpeg", width=800, height=600, size=1, received_at=NOW)
    with pytest.raises(FettleError, match="800"):
        drawn(a_person())
    assert not Markup.objects.exists()
    assert drawn(a_person(), width=800, height=600)


def test_standing_markup_of_many_photographs_is_one_query(django_assert_num_queries):
    ana = a_person()
    for name in ("11" * 32, "22" * 32, "33" * 32):
        services.add_version(name, geometry.read(a_drawing(a_mark())), after=(), by=ana, at=NOW)
    with django_assert_num_queries(1):
        assert len(selectors.standing_on(["11" * 32, "22" * 32, "33" * 32])) == 3
