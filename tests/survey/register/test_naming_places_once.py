"""The database itself keeps two places of one name apart, also at the root and also on SQLite."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from survey.models import Place
from tests.builders import a_place


@pytest.mark.parametrize("inside", [False, True])
def test_a_name_stands_once_in_one_place(db, inside):
    parent = a_place(kind="site", name="Quay") if inside else None
    a_place(kind="room", name="Loft", parent=parent)
    with pytest.raises(IntegrityError), transaction.atomic():
        a_place(kind="room", name="Loft", parent=parent)
    assert Place.objects.filter(name="Loft").count() == 1


def test_the_same_name_may_stand_in_two_places(db):
    for site in ("Quay", "Hill"):
        a_place(kind="room", name="Loft", parent=a_place(kind="site", name=site))
    assert Place.objects.filter(name="Loft").count() == 2
