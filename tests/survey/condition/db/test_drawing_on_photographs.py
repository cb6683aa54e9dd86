"""What is drawn on a photograph of an object: whose parts, which facts it measures, and where those go."""

from __future__ import annotations

import json
import uuid

import pytest

from media.base.errors import FettleError
from media.markup.geometry import BadMarkup
from media.models import Event, Markup, Photograph
from survey.condition import marking
from survey.condition.db.selectors import drivers
from survey.condition.db.selectors import marking as selectors
from survey.condition.db.services.marking import draw_on
from survey.models import Fill, Joint, ObjectPhotograph, Restoration
from tests.builders import NOW, a_person, an_object
from tests.media.markup.test_web_annotations import lacking

pytestmark = pytest.mark.django_db
SCALE = {"from": [0, 0], "to": [100, 0], "mm": 50}


@pytest.fixture
def taken() -> ObjectPhotograph:
    thing = an_object()
    campaign = Restoration.objects.create(object=thing)
    Joint.objects.create(restoration=campaign, label="J1", part="neck")
    Fill.objects.create(restoration=campaign, label="F1", part="rim")
    photograph = Photograph.objects.create(
        sha256="ab" * 32, kind="jpeg", width=800, height=600, size=9, received_at=NOW
    )
    return ObjectPhotograph.objects.create(object=thing, photograph=photograph, view="front", at=NOW)


def a_mark(term: str, target=None, points=((0, 0), (300, 400))) -> dict:
    shape = marking.SHAPES.get(term, "line")
    return {
        "id": str(uuid.uuid4()), "shape": shape, "points": [list(point) for point in points], "term": term,
        "target": target and str(target), "note": "",
    }  # fmt: skip


def drawing(*marks, scale=SCALE, **fields) -> dict:
    return {"width": 800, "height": 600, "scale": scale, "marks": list(marks)} | fields


def drawn(taken, *marks, into=(), after=(), by=None, scale=SCALE) -> Markup:
    read = marking.read(drawing(*marks, scale=scale))
    keys = [str(part.pk) for part in into]
    return draw_on(taken, read, after=after, into_record=keys, by=by or a_person(), at=NOW)


def parts(taken):
    return Joint.objects.get(restoration__object=taken.object), Fill.objects.get(restoration__object=taken.object)


def test_lengths_and_areas_reach_the_record_and_so_the_drivers_of_hours(taken):
    joint, fill = parts(taken)
    assert drivers([taken.object_id])[taken.object_id].all.joint_length_cm is None
    square = ((0, 0), (80, 0), (80, 80), (0, 80))  # 40 mm square
    drawn(taken, a_mark("joint", joint.pk), a_mark("fill", fill.pk, square), into=[joint, fill])
    joint, fill = parts(taken)
    assert (joint.length_mm, fill.area_cm2) == (250.0, 16.0)  # 500 pixels of half a millimetre; 4 cm by 4 cm
    now = drivers([taken.object_id])[taken.object_id].all
    assert (now.joint_length_cm, now.fill_area_cm2) == (25.0, 16.0)
    event = Event.objects.get(subject_id=str(joint.pk), verb="changed")
    assert event.thread == str(taken.object_id) and "measured on a photograph" in event.note


def test_what_is_not_asked_for_stays_as_it_was(taken):
    joint, _ = parts(taken)
    drawn(taken, a_mark("joint", joint.pk))
    assert parts(taken)[0].length_mm is None and Markup.objects.count() == 1


def test_without_a_known_size_nothing_can_be_taken(taken):
    joint, _ = parts(taken)
    with pytest.raises(FettleError, match="known size"):
        drawn(taken, a_mark("joint", joint.pk), into=[joint], scale=None)
    assert not Markup.objects.exists()


def test_a_part_of_another_object_is_refused_and_nothing_is_kept(taken):
    other = an_object(joints=1)
    joint = Joint.objects.get(restoration__object=other)
    with pytest.raises(FettleError, match="not recorded on this object"):
        drawn(taken, a_mark("joint", joint.pk))
    assert not Markup.objects.exists()


def test_a_length_that_cannot_be_is_refused(taken):
    joint, _ = parts(taken)
    huge = {"from": [0, 0], "to": [1, 0], "mm": 10_000}
    with pytest.raises(FettleError, match="known size"):
        drawn(taken, a_mark("joint", joint.pk), into=[joint], scale=huge)
    assert parts(taken)[0].length_mm is None and not Markup.objects.exists()


@pytest.mark.parametrize(
    "mark",
    [a_mark("crack"), a_mark("joint"), a_mark("sample", uuid.uuid4(), ((1, 1),)),
     a_mark("joint", uuid.uuid4()) | {"shape": "area", "points": [[0, 0], [1, 0], [1, 1]]}],
)  # fmt: skip
def test_terms_and_shapes_that_are_not_ours_are_refused(mark):
    with pytest.raises(BadMarkup):
        marking.read(drawing(mark))


def post(client, taken, **fields):
    body = {"drawing": drawing(), "after": [], "into_record": []} | fields
    return client.post(f"/survey/photograph/{taken.pk}/draw/", json.dumps(body), content_type="application/json")


def test_the_page_takes_a_drawing_and_shows_it_again(surveyor, taken):
    joint, _ = parts(taken)
    mark = a_mark("joint", joint.pk)
    first = post(surveyor, taken, drawing=drawing(mark), into_record=[str(joint.pk)])
    assert first.status_code == 200 and parts(taken)[0].length_mm == 250
    page = surveyor.get(f"/survey/photograph/{taken.pk}/")
    assert page.context["data"]["drawing"]["marks"] == [mark]
    assert page.context["data"]["after"] == [first.json()["version"]]
    second = post(surveyor, taken, after=page.context["data"]["after"])
    assert second.status_code == 200 and Markup.objects.filter(overtaken=False).count() == 1
    old = surveyor.get(f"/survey/photograph/{taken.pk}/", {"version": first.json()["version"]})
    assert old.context["data"]["drawing"]["marks"] == [mark]


def test_what_somebody_else_drew_is_shown_apart_and_stays(surveyor, conservator, taken):
    mark = a_mark("sample", points=((5, 5),))
    assert post(conservator, taken, drawing=drawing(mark)).status_code == 200
    page = surveyor.get(f"/survey/photograph/{taken.pk}/")
    assert page.context["data"]["others"][0]["marks"] == [mark] and not page.context["data"]["drawing"]["marks"]
    assert post(surveyor, taken, drawing=drawing(mark | {"id": str(uuid.uuid4())})).status_code == 200
    assert Markup.objects.filter(overtaken=False).count() == 2
    saved = surveyor.get(f"/survey/photograph/{taken.pk}/annotations.jsonld")
    assert saved["Content-Type"].startswith("application/ld+json")
    told = json.loads(saved.content)
    assert lacking(told) == [] and len(told["items"]) == 2
    assert told["items"][0]["target"]["source"]["format"] == "image/jpeg"


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b'{"drawing": {}}', b'{"drawing": 1, "after": "x", "into_record": []}',
     b'{"drawing": NaN, "after": [], "into_record": []}', b"\xff\xfe", b"[" * 5000,
     b'{"drawing": {}, "after": ["x"], "into_record": []}'],
)  # fmt: skip
def test_what_no_page_of_ours_sends_is_refused_in_a_line(surveyor, taken, body):
    answer = surveyor.post(f"/survey/photograph/{taken.pk}/draw/", body, content_type="application/json")
    assert answer.status_code == 422 and answer.json()["error"] and "\n" not in answer.json()["error"]
    assert not Markup.objects.exists()


def test_readers_look_and_do_not_draw(reader, taken):
    assert reader.get(f"/survey/photograph/{taken.pk}/").status_code == 200
    assert post(reader, taken).status_code == 403
    assert reader.get("/survey/photograph/999999/").status_code == 404


def test_one_mark_and_many_ask_the_database_as_often(taken, django_assert_max_num_queries):
    for _ in range(3):
        drawn(taken, a_mark("sample", points=((1, 1),)))
    with django_assert_max_num_queries(6):
        assert len(selectors.board(taken.pk).standing) == 3
