"""An import is taken back whole; what people have touched since stays and is named."""

from __future__ import annotations

import pytest

from media.base.models import Event
from survey.models import ImportRow, Object
from survey.register.db.services import imports, objects
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.django_db
OLD = "number,title,material\nK 1,Jar,earthenware\nK 2,Dish,stoneware\nK 3,Cup,\n"
NEW = "number,title,material\nK 1,Large jar,tin-glazed earthenware\nK 2,Dish,stoneware\nK 3,Cup,porcelain\nK 4,Ewer,\n"


def plain():
    return list(Object.objects.order_by("number").values_list("number", "title", "material", "register_said"))


def test_the_register_is_as_it_was(importing):
    importing.brought_in(OLD)
    before = plain()
    batch = importing.brought_in(NEW)
    assert plain() != before
    batch = importing.undo(batch)
    assert plain() == before
    assert (batch.state, batch.counts["kept"]) == ("undone", 0)


def test_made_objects_go_and_their_story_says_so(importing):
    batch = importing.undo(importing.brought_in(OLD))
    assert not Object.objects.exists()
    assert batch.state == "undone"
    assert Event.objects.filter(verb="removed").count() == 3
    assert Event.objects.filter(verb="brought in", subject_kind="survey.object").count() == 3


def test_an_object_that_a_record_speaks_of_stays(importing):
    batch = importing.brought_in(OLD)
    jar, dish, _ = Object.objects.order_by("number")
    builders.an_entry(builders.an_exhibition(), jar)
    objects.move_object(dish, builders.a_place(), by=None, at=NOW)
    builders.an_object(joints=1)
    importing.undo(batch)
    assert set(Object.objects.values_list("number", flat=True)) >= {"K 1", "K 2"}
    assert not Object.objects.filter(number="K 3").exists()
    kept = dict(ImportRow.objects.exclude(kept="").values_list("number", "kept"))
    assert kept == {"K 1": "checklist entries refer to it", "K 2": "object moves refer to it"}


def test_a_made_object_that_was_changed_by_hand_stays(importing):
    batch = importing.brought_in(OLD)
    jar = Object.objects.get(number="K 1")
    objects.change_object(jar, {"significance": 4}, by=None, at=NOW)
    batch = importing.undo(batch)
    assert list(Object.objects.values_list("number", flat=True)) == ["K 1"]
    assert ImportRow.objects.get(number="K 1").kept == "changed here since: significance"
    assert batch.counts["kept"] == 1


def test_a_field_changed_since_stays_and_the_others_go_back(importing):
    importing.brought_in(OLD)
    batch = importing.brought_in(NEW)
    objects.change_object(Object.objects.get(number="K 1"), {"title": "Storage jar"}, by=None, at=NOW)
    importing.undo(batch)
    jar = Object.objects.get(number="K 1")
    assert (jar.title, jar.material) == ("Storage jar", "earthenware")
    assert ImportRow.objects.get(batch=batch, number="K 1").kept == "changed here since: title"


def test_undone_twice_or_before_it_was_brought_in_is_refused(importing):
    batch = importing.looked(OLD)
    with pytest.raises(imports.Clash):
        imports.ask_to_undo(batch, by=None)
    batch = importing.undo(importing.bring_in(batch))
    with pytest.raises(imports.Clash):
        imports.ask_to_undo(batch, by=None)


def test_a_file_undone_can_be_brought_in_again(importing):
    importing.undo(importing.brought_in(OLD))
    importing.brought_in(OLD)
    assert Object.objects.count() == 3
