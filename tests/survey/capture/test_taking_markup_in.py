"""What was drawn on a tablet: applied once, in any order, both people's kept, parts named as they are here."""

from __future__ import annotations

import itertools
import uuid

import pytest

from media.models import Markup, Photograph
from survey.capture.db import services
from survey.capture.db.services import Delivery
from survey.models import Joint, Operation
from tests.builders import NOW, a_person, an_object
from tests.survey.capture.tablets import Tablet, a_restoration, joint_seen, restored
from tests.survey.condition.db.test_drawing_on_photographs import SCALE, a_mark

pytestmark = pytest.mark.django_db
NAME = "cd" * 32


def deliver(tablet: Tablet, *told, by=None) -> list[str]:
    delivery = Delivery(by or tablet.by, NOW)
    return [answer.status for answer in services.apply_all(list(told), delivery)]


def standing() -> list[Markup]:
    return list(Markup.objects.filter(overtaken=False).order_by("at", "pk"))


def test_it_is_applied_once_however_often_it_comes():
    tablet, thing = Tablet(a_person()), an_object(joints=1)
    told = tablet.draws(thing, NAME, a_mark("joint", Joint.objects.get().pk), scale=SCALE)
    assert deliver(tablet, told) == ["applied"]
    assert deliver(tablet, told) == ["already had"]
    (kept,) = standing()
    assert str(kept.pk) == told["id"] and kept.author == tablet.by and kept.drawing == told["body"]["drawing"]


def test_a_part_that_the_tablet_made_is_named_as_it_is_here_in_whatever_order():
    tablet, thing, campaign, name = Tablet(a_person()), an_object(), a_restoration(), str(uuid.uuid4())
    seen = tablet.assesses(
        thing,
        **restored(joint_seen(name, 1, made={"length_mm": 4}, restoration=campaign["id"]), restorations=[campaign]),
    )
    drawn = tablet.draws(thing, NAME, a_mark("joint", name))
    assert deliver(tablet, drawn) == ["held"]
    assert deliver(tablet, seen) == ["applied"]
    assert Operation.objects.get(uuid=drawn["id"]).state == "applied"
    (kept,) = standing()
    assert kept.drawing["marks"][0]["target"] == str(Joint.objects.get().pk)


def test_two_people_who_drew_on_one_photograph_both_keep_it():
    one, two, thing = Tablet(a_person()), Tablet(a_person()), an_object()
    for tablet in (one, two):
        assert deliver(tablet, tablet.draws(thing, NAME, a_mark("sample", points=((3, 3),)))) == ["applied"]
    assert {kept.author for kept in standing()} == {one.by, two.by}


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_a_chain_of_versions_ends_alike_in_any_order(order):
    tablet, thing, told, after = Tablet(a_person()), an_object(), [], []
    for i in range(3):
        told.append(tablet.draws(thing, NAME, a_mark("sample", points=((i, i),)), after=list(after)))
        after = [told[-1]["id"]]
    for i in order:
        assert deliver(tablet, told[i]) == ["applied"]
    assert [str(kept.pk) for kept in standing()] == [told[2]["id"]]
    assert Markup.objects.count() == 3


def test_the_photograph_may_come_before_or_after_and_must_be_of_that_size():
    tablet, thing = Tablet(a_person()), an_object()
    assert deliver(tablet, tablet.draws(thing, NAME)) == ["applied"]
    Photograph.objects.create(sha256="ef" * 32, kind="jpeg", width=80, height=60, size=9, received_at=NOW)
    assert deliver(tablet, tablet.draws(thing, "ef" * 32)) == ["held"]
    assert Markup.objects.count() == 1


def test_an_object_that_is_not_known_yet_is_waited_for():
    tablet = Tablet(a_person())
    assert deliver(tablet, tablet.draws(str(uuid.uuid4()), NAME)) == ["held"]


@pytest.mark.parametrize(
    "harm",
    [{"width": -1}, {"marks": [{"id": 1}]}, {"marks": {}}, {"scale": 5},
     {"marks": [a_mark("joint", uuid.uuid4()) | {"points": [[0, 0], [900, 0]]}]}, {"marks": [a_mark("crack")]}],
)  # fmt: skip
def test_hostile_markup_is_refused_in_a_line_and_kept_as_it_came(harm):
    tablet, thing = Tablet(a_person()), an_object()
    told = tablet.draws(thing, NAME, **harm)
    (answer,) = services.apply_all([told], Delivery(tablet.by, NOW))
    assert answer.status == "refused" and "\n" not in answer.reason and answer.reason.startswith("body.drawing: ")
    assert Operation.objects.get().raw and not Markup.objects.exists()


def test_the_same_id_with_another_body_is_kept_apart():
    tablet, thing = Tablet(a_person()), an_object()
    told = tablet.draws(thing, NAME, a_mark("sample", points=((3, 3),)))
    other = tablet.draws(thing, NAME) | {"id": told["id"]}
    assert deliver(tablet, told, other) == ["applied", "held"]
    services.take_in(Operation.objects.get(clash=True), by=tablet.by, at=NOW)
    assert Markup.objects.count() == 2
