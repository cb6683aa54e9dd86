"""Assessing one object by touch, as a surveyor does with a tablet in one hand."""

import io
from datetime import timedelta
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, reverse
from django.utils import timezone
from PIL import Image

from media.photographs.db.models import Photograph
from survey.condition.db.models import Assessment, Joint, JointSeen, ObjectPhotograph, Restoration, Sign
from survey.condition.web import desk
from tests.builders import a_person, a_place, a_round, an_assessment, an_object

pytestmark = pytest.mark.django_db


def to(name, jar, *rest, **more):
    return reverse(f"condition:{name}", kwargs={"pk": jar.pk} | more)


def joints_of(jar):
    return list(Joint.objects.filter(restoration__object=jar).order_by("label"))


class Forms(HTMLParser):
    """Forms of a page: address to hidden fields; and the links by id."""

    def __init__(self, html):
        super().__init__()
        self.forms, self.links, self._now = {}, {}, None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if tag == "form":
            self._now = self.forms.setdefault(attrs.get("action", ""), {})
        if tag == "input" and attrs.get("type") == "hidden" and self._now is not None:
            self._now[attrs["name"]] = attrs["value"]
        if tag == "a" and "id" in attrs:
            self.links[attrs["id"]] = attrs["href"]


class Tablet:
    """A browser without script that counts touches: links followed and buttons pressed, found on the page itself."""

    def __init__(self, client, address):
        self.client, self.touches, self.address = client, 0, address
        self._show(client.get(address))

    def follow(self, link_id):
        self.touches += 1
        self._show(self.client.get(urljoin(self.address, Forms(self.html).links[link_id]), follow=True))

    def press(self, action, **values):
        self.touches += 1
        hidden = Forms(self.html).forms[action]
        self._show(self.client.post(action, hidden | values, follow=True))

    def _show(self, response):
        assert response.status_code == 200
        self.html = response.content.decode()
        request = response.request
        self.address = f"{request['PATH_INFO']}?{request['QUERY_STRING']}"


def test_an_object_without_old_restoration_takes_three_touches_from_the_shelf_to_the_next_object(surveyor):
    a_round()
    shelf = a_place()
    first, second = an_object(place=shelf), an_object(place=shelf)
    tablet = Tablet(surveyor, reverse("condition:shelf", kwargs={"pk": shelf.pk}))
    tablet.follow("next")
    assert f"What do you see on {first.number}?" in tablet.html
    tablet.press(to("unremarkable", first))
    tablet.press(to("next_object", first))
    assert tablet.touches == 3
    assert f"What do you see on {second.number}?" in tablet.html
    done = Assessment.objects.get()
    assert done.finished_at
    assert (done.object, done.old_restoration, done.instability, done.handling) == (first, "none", "good", "free")
    # from here on two touches an object, and the last one leads back to the shelf
    tablet.press(to("unremarkable", second))
    tablet.press(to("next_object", second))
    assert tablet.touches == 5
    assert "Every object on this shelf is looked at" in tablet.html


def test_opening_the_page_writes_nothing(surveyor):
    jar = an_object()
    surveyor.get(to("assess", jar))
    assert not Assessment.objects.exists()


def test_the_look_is_timed_from_the_opening_of_the_page(surveyor, monkeypatch):
    jar = an_object()
    html = surveyor.get(to("assess", jar)).content.decode()
    mark = Forms(html).forms[to("answer", jar)]["looked_from"]
    later = timezone.now() + timedelta(minutes=4)
    monkeypatch.setattr(desk.timezone, "now", lambda: later)
    surveyor.post(to("answer", jar), {"old_restoration": "none", "looked_from": mark})
    took = later - Assessment.objects.get().started_at
    assert timedelta(minutes=3, seconds=50) < took < timedelta(minutes=4, seconds=10)


def test_a_time_that_the_page_did_not_give_is_not_believed(surveyor):
    jar = an_object()
    before = timezone.now()
    surveyor.post(to("answer", jar), {"old_restoration": "none", "looked_from": "2020-01-01T00:00:00+00:00"})
    assert Assessment.objects.get().started_at >= before


def test_a_restored_object_is_assessed_by_touch_from_end_to_end(surveyor):
    a_round()
    shelf = a_place()
    jar = an_object(place=shelf)
    tablet = Tablet(surveyor, to("assess", jar))
    tablet.press(to("answer", jar), old_restoration="present")
    tablet.follow("add-joint")
    tablet.press(to("add_part", jar, kind="joint"), where="foot")
    [joint] = joints_of(jar)
    place = {"kind": "joint", "part": joint.pk}
    assert "How does J1 at the foot look?" in tablet.html
    tablet.follow("sign-edge_lifting")
    tablet.press(to("sign", jar, **place), seen="50")
    tablet.press(to("all_signs", jar, **place), seen="none")
    tablet.press(to("details", jar, **place), structural="yes")
    tablet.follow("open-adhesive")
    tablet.press(to("details", jar, **place), adhesive="cellulose_nitrate", basis="look")
    tablet.follow("to-parts")
    tablet.follow("to-grades")
    for axis, grade in (("instability", "poor"), ("damage", "fair"), ("disfigurement", "not_seen")):
        tablet.press(to("answer", jar), **{axis: grade})
    assert "May it be lifted?" in tablet.html
    tablet.press(to("answer", jar), handling="do_not_lift")
    assert "nothing is missing" in tablet.html
    tablet.press(to("next_object", jar))
    done = Assessment.objects.get()
    assert done.finished_at
    assert JointSeen.objects.get().stage == 2
    joint.refresh_from_db()
    assert (joint.structural, joint.adhesive, joint.basis) == (True, "cellulose_nitrate", "look")
    assert Sign.objects.filter(answer="none").count() == 8
    assert Restoration.objects.get().date_text == ""
    assert tablet.touches <= 16


def test_next_object_on_an_incomplete_one_says_what_is_missing_and_can_leave_it(surveyor):
    a_round()
    shelf = a_place()
    first, second = an_object(place=shelf), an_object(place=shelf)
    tablet = Tablet(surveyor, to("assess", first))
    tablet.press(to("answer", first), old_restoration="none")
    tablet.press(to("next_object", first))
    assert "Grade instability" in tablet.html
    tablet.press(to("next_object", first), leave="1")
    assert second.number in tablet.html
    assert Assessment.objects.get().finished_at is None
    assert first.number in surveyor.get(reverse("condition:survey")).content.decode()


def test_interrupted_work_goes_on_where_it_was_left_even_after_signing_in_again(db):
    me = a_person(role="surveyor")
    jar = an_object()
    tablet = Client()
    tablet.force_login(me)
    tablet.post(to("answer", jar), {"old_restoration": "none"})
    tablet.post(to("answer", jar), {"instability": "fair"})
    again = Client()
    again.force_login(me)
    html = again.get(to("assess", jar), {"step": "grades"}).content.decode()
    assert 'value="fair" aria-pressed="true"' in html
    again.post(to("answer", jar), {"damage": "good"})
    assert Assessment.objects.get().damage == "good"


def test_undo_takes_back_the_last_touch_and_says_what(surveyor):
    jar = an_object()
    surveyor.post(to("answer", jar), {"handling": "care"})
    response = surveyor.post(to("undo", jar), follow=True)
    assert "Taken back: handling: lift with care, two hands." in response.content.decode()
    assert Assessment.objects.get().handling == ""


def test_discarding_asks_first(surveyor):
    jar = an_object()
    surveyor.post(to("answer", jar), {"handling": "care"})
    assert "are lost" in surveyor.get(to("discard", jar)).content.decode()
    assert Assessment.objects.exists()
    surveyor.post(to("discard", jar))
    assert not Assessment.objects.exists()


def test_not_seen_not_known_and_none_are_shown_as_three_things(surveyor):
    jar = an_object(joints=3)
    for joint, answer in zip(joints_of(jar), ("not_seen", "not_known", "none"), strict=True):
        place = {"kind": "joint", "part": joint.pk}
        surveyor.post(to("sign", jar, **place), {"code": "gap", "seen": answer})
        html = surveyor.get(to("assess", jar), {"part": str(joint.pk)}).content.decode()
        word = {"not_seen": "Not seen", "not_known": "Not known", "none": "None"}[answer]
        assert f"Gap<small>{word}</small>" in html
    assert set(Sign.objects.values_list("answer", flat=True)) == {"not_seen", "not_known", "none"}


def test_words_that_say_little_are_pointed_out_and_kept(surveyor):
    jar = an_object()
    response = surveyor.post(to("notes", jar), {"observation": "A bad crack", "interpretation": ""}, follow=True)
    assert "“bad”: say what is seen, where on the object, and how far it runs." in response.content.decode()
    assert Assessment.objects.get().observation == "A bad crack"


@pytest.mark.parametrize(
    ("name", "more", "values"),
    [
        ("answer", {}, {}),
        ("answer", {}, {"handling": "maybe"}),
        ("answer", {}, {"found": "elsewhere", "place_found": "x"}),
        ("add_part", {"kind": "wing"}, {}),
        ("photographs", {}, {}),
        ("undo", {}, {}),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_nothing_is_written(surveyor, name, more, values):
    jar = an_object()
    response = surveyor.post(to(name, jar, **more), values)
    assert 400 <= response.status_code < 500
    assert "This was not done" in response.content.decode()
    assert not Joint.objects.exists()
    assert not Assessment.objects.exclude(handling="").exists()


def test_a_joint_of_another_object_cannot_be_reached_from_this_one(surveyor):
    jar, other = an_object(), an_object(joints=1)
    place = {"kind": "joint", "part": joints_of(other)[0].pk}
    assert surveyor.post(to("stage", jar, **place), {"stage": "4"}).status_code == 404
    assert not JointSeen.objects.exists()


def test_a_page_that_only_writes_shows_the_object_when_it_is_followed_as_a_link(surveyor):
    jar = an_object()
    response = surveyor.get(to("answer", jar))
    assert response["Location"] == to("assess", jar)


def a_picture(colour=(90, 120, 90)) -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (400, 300), colour).save(out, "JPEG")
    out.seek(0)
    out.name = "jar.jpg"
    return out


def hostile() -> io.BytesIO:
    out = io.BytesIO(b"<html><script>alert(1)</script></html>")
    out.name = "jar<script>.jpg"
    return out


def test_photographs_are_kept_with_the_assessment_and_bad_ones_refused_beside_them(surveyor):
    jar = an_object()
    surveyor.post(to("answer", jar), {"old_restoration": "none"})
    response = surveyor.post(
        to("photographs", jar), {"photographs": [a_picture(), hostile(), a_picture((10, 20, 30))]}, follow=True
    )
    html = response.content.decode()
    assert "was not kept. This file is a web page, not a photograph." in html
    assert "<script>.jpg" not in html
    assert "2 photographs kept." in html
    assert ObjectPhotograph.objects.filter(object=jar, assessment=Assessment.objects.get()).count() == 2
    assert Assessment.objects.get().old_restoration == "none"


def test_the_same_photograph_twice_is_kept_once(surveyor):
    jar = an_object()
    for _ in range(2):
        surveyor.post(to("photographs", jar), {"photographs": [a_picture()]})
    assert (Photograph.objects.count(), ObjectPhotograph.objects.count()) == (1, 1)


def test_a_hostile_photograph_alone_begins_no_assessment(surveyor):
    jar = an_object()
    surveyor.post(to("photographs", jar), {"photographs": [hostile()]})
    assert not Photograph.objects.exists()
    assert not Assessment.objects.exists()


def test_a_frozen_assessment_is_read_and_corrected_by_a_new_one(surveyor):
    jar = an_object()
    surveyor.post(to("unremarkable", jar))
    surveyor.post(to("next_object", jar))
    old = Assessment.objects.get()
    address = reverse("condition:assessment", kwargs={"pk": old.pk})
    assert "nobody changes it any more" in surveyor.get(address).content.decode()
    surveyor.post(reverse("condition:correct", kwargs={"pk": old.pk}))
    surveyor.post(to("answer", jar), {"damage": "poor"})
    surveyor.post(to("next_object", jar))
    old.refresh_from_db()
    assert old.damage == "good"
    assert "was corrected" in surveyor.get(address).content.decode()


def test_a_reader_may_read_an_assessment_but_not_correct_it(reader):
    jar = an_object()
    done = an_assessment(jar)
    html = reader.get(reverse("condition:assessment", kwargs={"pk": done.pk})).content.decode()
    assert "Correct it" not in html
    assert reader.post(reverse("condition:correct", kwargs={"pk": done.pk})).status_code == 403


def test_do_not_lift_stands_first_on_the_page(surveyor):
    jar = an_object()
    an_assessment(jar, handling="do_not_lift")
    html = surveyor.get(to("assess", jar)).content.decode()
    assert html.index('class="do-not-lift"') < html.index("<h1>")


ANY = {"IntConverter": 1, "UUIDConverter": "0" * 8 + "-0000-0000-0000-" + "0" * 12, "SlugConverter": "joint",
       "StringConverter": "joint"}  # fmt: skip


def addresses():
    for pattern in get_resolver("survey.condition.web.urls").url_patterns:
        kwargs = {name: ANY[type(each).__name__] for name, each in pattern.pattern.converters.items()}
        yield reverse(f"condition:{pattern.name}", kwargs=kwargs), pattern.callback.permission


@pytest.mark.parametrize(("address", "permission"), list(addresses()))
def test_every_page_needs_signing_in_and_writing_needs_a_surveyor(reader, address, permission):
    stranger = Client()
    for response in (stranger.get(address), stranger.post(address)):
        assert response.status_code in (302, 405)
    if permission == "survey.write":
        assert reader.post(address).status_code in (403, 405)


@pytest.mark.parametrize(
    "step", ["look", "parts", "grades", "handling", "photographs", "notes", "check", "restoration"]
)
def test_every_step_opens_before_and_after_the_first_answer(surveyor, step):
    jar = an_object(joints=1)
    assert surveyor.get(to("assess", jar), {"step": step}).status_code == 200
    surveyor.post(to("answer", jar), {"old_restoration": "present"})
    assert surveyor.get(to("assess", jar), {"step": step}).status_code == 200


@pytest.mark.parametrize("opened", ["", "gap", "adhesive", "evidence", "evidence-uv", "evidence-spot_test", "nonsense"])
def test_every_side_of_a_joint_opens(surveyor, opened):
    jar = an_object(joints=1)
    surveyor.post(to("answer", jar), {"old_restoration": "present"})
    query = {"part": str(joints_of(jar)[0].pk), "open": opened}
    assert surveyor.get(to("assess", jar), query).status_code == 200


def test_the_page_takes_the_same_queries_for_one_joint_and_for_fifty(surveyor):
    counts = []
    for joints in (1, 50):
        shelf = a_place()
        jar = an_object(joints=joints, place=shelf)
        for _ in range(joints):
            an_object(place=shelf)
        surveyor.post(to("answer", jar), {"old_restoration": "present"})
        surveyor.get(to("assess", jar))
        with CaptureQueriesContext(connection) as captured:
            assert surveyor.get(to("assess", jar), {"step": "check"}).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
