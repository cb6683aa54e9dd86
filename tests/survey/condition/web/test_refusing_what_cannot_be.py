"""At the desk what cannot be is refused with the reason; what a tablet brings is kept as it came."""

from __future__ import annotations

import pytest
from django.urls import reverse

from survey.condition.db import services
from survey.condition.db.models import Assessment, Joint, Restoration
from tests import builders

pytestmark = pytest.mark.django_db
NOW = builders.NOW


@pytest.fixture
def jar():
    return builders.an_object(joints=1, height_mm=200, width_mm=150)


def post(client, name, jar, part=None, **values):
    more = {"part": part.pk} if part else {}
    if name == "details":
        more["kind"] = "joint"
    return client.post(reverse(f"condition:{name}", kwargs={"pk": jar.pk} | more), values, follow=True)


def test_a_restoration_dated_in_the_future(surveyor, jar):
    page = post(surveyor, "add_restoration", jar, date_text="2190").content.decode()
    assert "is dated 2190, in the future" in page
    assert Restoration.objects.count() == 1


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"adhesive": "epoxy", "basis": "look"}, "Epoxy was not in use before about 1945"),
        ({"wall_mm": "180"}, "A wall 180 mm thick does not fit an object of 200 mm"),
        ({"lever_mm": "700"}, "An overhang of 700 mm does not fit"),
        ({"length_mm": "-4"}, "must be more than 0"),
    ],
)
def test_a_joint_that_cannot_be(surveyor, jar, values, words):
    joint = Joint.objects.get()
    Restoration.objects.update(date_text="1920", year_earliest=1920, year_latest=1920)
    assert words in post(surveyor, "details", jar, joint, **values).content.decode()
    assert Joint.objects.values().get() == Joint.objects.filter(pk=joint.pk, adhesive="", length_mm=80).values().get()


def test_a_date_that_contradicts_an_adhesive_on_record(surveyor, jar):
    Joint.objects.update(adhesive="acrylic", basis="ftir")
    restoration = Restoration.objects.get()
    page = post(surveyor, "restoration", jar, restoration, date_text="about 1930").content.decode()
    assert "J1: Acrylic copolymer was not in use before about 1955" in page
    restoration.refresh_from_db()
    assert restoration.date_text == ""


def test_what_stood_in_the_record_is_no_reason_to_refuse_something_else(surveyor, jar):
    joint = Joint.objects.get()
    Joint.objects.update(wall_mm=180)
    post(surveyor, "details", jar, joint, wall_mm="180", length_mm="95")
    joint.refresh_from_db()
    assert joint.length_mm == 95


def test_what_was_written_without_a_network_is_kept(jar):
    assessment: Assessment = builders.an_assessment(jar, finished=False)
    made = services.add_restoration(assessment, date_text="1920", by=None, at=NOW)
    joint = services.add_joint(assessment, made, {"adhesive": "epoxy", "basis": "look"}, by=None, at=NOW)
    assert joint.adhesive == "epoxy"
