"""The addresses that tablets speak to: JSON both ways, photographs in pieces, packs in few queries."""

from __future__ import annotations

import hashlib
import io
import json
import uuid
from datetime import UTC, datetime

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from PIL import Image

from media.base.models import Event
from survey.models import (
    Assessment,
    Device,
    Joint,
    Object,
    ObjectPhotograph,
    Operation,
    PhotographWanted,
    SurveyRound,
)
from tests.builders import a_place, a_round, an_assessment, an_entry, an_exhibition, an_object
from tests.survey.capture.tablets import Tablet, joint_seen, restored

pytestmark = pytest.mark.django_db


def send(client, *operations, device=None, unsent=0, **more):
    batch = {
        "device": device or (operations[0]["device"] if operations else str(uuid.uuid4())), "name": "Tablet 2",
        "sent_at": datetime.now(UTC).isoformat(), "unsent": unsent, "operations": list(operations),
    } | more  # fmt: skip
    return client.post("/capture/operations/", json.dumps(batch), content_type="application/json")


def a_jpeg(shade=90, size=(640, 480)) -> bytes:
    out = io.BytesIO()
    Image.effect_noise(size, shade).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


def put(client, data, *, name=None, start=0, stop=None, total=None):
    piece = data[start:stop]
    name = name or hashlib.sha256(data).hexdigest()
    span = f"bytes {start}-{start + len(piece) - 1}/{total or len(data)}"
    return client.put(
        f"/capture/photographs/{name}/", piece, content_type="application/octet-stream", headers={"content-range": span}
    )


@pytest.fixture
def me(surveyor):
    return get_user_model().objects.get(pk=surveyor.session["_auth_user_id"])


def test_whoever_is_not_signed_in_is_told_so_in_json(db):
    for path in ("status", "choices", "pack", "photographs/" + "0" * 64):
        answer = Client().get(f"/capture/{path}/")
        assert (answer.status_code, answer["content-type"]) == (401, "application/json")
    assert send(Client()).status_code == 401


def test_a_reader_may_not_send(reader):
    assert send(reader).status_code == 403


def test_sending_needs_the_token_that_status_gives(me):
    client = Client(enforce_csrf_checks=True)
    client.force_login(me)
    assert send(client).status_code == 403
    token = client.get("/capture/status/").json()["token"]
    batch = {"device": str(uuid.uuid4()), "name": "", "sent_at": "2026-03-02T09:00:00Z", "unsent": 0, "operations": []}
    answer = client.post(
        "/capture/operations/", json.dumps(batch), content_type="application/json", headers={"x-csrftoken": token}
    )
    assert answer.status_code == 200


def test_a_batch_is_answered_operation_by_operation(surveyor, me):
    tablet = Tablet(me)
    good, bad = tablet.assesses(an_object()), tablet.assesses(an_object()) | {"kind": "guess"}
    answer = send(surveyor, good, bad, good, 7, unsent=4).json()
    assert [each["status"] for each in answer["results"]] == ["applied", "refused", "already had", "refused"]
    assert [each["id"] for each in answer["results"]] == [good["id"], bad["id"], good["id"], None]
    assert answer["results"][1]["reason"].startswith("kind: must be one of")
    device = Device.objects.get()
    assert (str(device.pk), device.unsent, device.name, device.last_by) == (tablet.id, 4, "Tablet 2", me)
    assert abs(device.clock_ahead_seconds) < 5
    assert Operation.objects.filter(state="refused").count() == 2


def test_a_batch_of_too_many_is_refused_whole(surveyor, me):
    tablet = Tablet(me)
    answer = send(surveyor, *(tablet.assesses(an_object()) for _ in range(51)))
    assert answer.status_code == 400 and Operation.objects.count() == 0


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b"\xff\xfe", "application/json", 400),
        (b'{"a":NaN}', "application/json", 400),
        (b'{"a":1e999}', "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b"[" * 60 + b"]" * 60, "application/json", 400),
        (b"[]", "application/json", 400),
        (b"{}", "text/plain", 415),
        (b"[" + b" " * (4 * 1024 * 1024) + b"]", "application/json", 413),
    ],
)
def test_what_is_no_batch_is_refused_in_one_line(surveyor, body, kind, status):
    answer = surveyor.post("/capture/operations/", body, content_type=kind)
    assert answer.status_code == status
    assert set(answer.json()) == {"error"} and "\n" not in answer.json()["error"]


def test_a_photograph_comes_in_pieces_and_is_attached_to_what_names_it(surveyor, me):
    data = a_jpeg()
    name = hashlib.sha256(data).hexdigest()
    told = Tablet(me).assesses(an_object(), photographs={name: "Front"})
    assert send(surveyor, told).json()["results"][0]["photographs"] == [name]
    third = len(data) // 3
    assert put(surveyor, data, stop=third).json() == {"offset": third, "complete": False}
    assert surveyor.get(f"/capture/photographs/{name}/").json() == {"offset": third, "complete": False}
    assert put(surveyor, data, start=third, stop=2 * third).json()["offset"] == 2 * third
    again = put(surveyor, data, start=third, stop=2 * third)
    assert (again.status_code, again.json()["offset"]) == (409, 2 * third)
    assert put(surveyor, data, start=2 * third).json() == {"offset": len(data), "complete": True}
    assert put(surveyor, data, start=2 * third).json() == {"offset": len(data), "complete": True}
    kept = ObjectPhotograph.objects.get()
    assert (kept.photograph_id, kept.view, kept.by, kept.assessment) == (name, "Front", me, Assessment.objects.get())
    assert send(surveyor, told).json()["results"][0]["photographs"] == []


def test_a_photograph_that_came_first_is_attached_when_its_assessment_comes(surveyor, me):
    data = a_jpeg()
    assert put(surveyor, data).json()["complete"]
    told = Tablet(me).assesses(an_object(), photographs={hashlib.sha256(data).hexdigest(): ""})
    assert send(surveyor, told).json()["results"][0]["photographs"] == []
    assert ObjectPhotograph.objects.count() == 1


def test_bytes_that_do_not_have_their_hash_are_sent_again(surveyor):
    data = a_jpeg()
    name = hashlib.sha256(data).hexdigest()
    broken = data[:100] + bytes([data[100] ^ 1]) + data[101:]
    answer = put(surveyor, broken, name=name)
    assert (answer.status_code, answer.json()["offset"]) == (409, 0)
    assert put(surveyor, data).json()["complete"]


@pytest.mark.parametrize("kind", ["words", "cut off"])
def test_what_is_no_photograph_is_kept_out_and_the_assessment_stays(surveyor, me, kind):
    data = b"<script>alert(1)</script>" if kind == "words" else a_jpeg()[:2000]
    name = hashlib.sha256(data).hexdigest()
    send(surveyor, Tablet(me).assesses(an_object(), photographs={name: ""}))
    answer = put(surveyor, data)
    assert answer.status_code == 422 and answer.json()["error"]
    assert PhotographWanted.objects.get().refused == answer.json()["error"][:300]
    assert Assessment.objects.count() == 1 and ObjectPhotograph.objects.count() == 0


@pytest.mark.parametrize(
    "span",
    ["", "bytes */10", "bytes 0-9", "bytes 0-9/10/11", "bytes 9-0/10", "bytes 0-99/5", "bytes -1-2/3", "bytes ٠-٩/10"],
)
def test_a_piece_must_say_what_it_is(surveyor, span):
    answer = surveyor.put(
        f"/capture/photographs/{'0' * 64}/", b"0123456789", content_type="application/octet-stream",
        HTTP_CONTENT_RANGE=span,
    )  # fmt: skip
    assert answer.status_code in (400, 422)


def test_a_photograph_of_more_than_twenty_megabytes_is_refused(surveyor):
    assert put(surveyor, b"0" * 10, total=21 * 1024 * 1024).status_code == 422


def a_shelf_of(number: int):
    """A shelf with restored and assessed objects."""
    shelf = a_place(parent=a_place(kind="bay"))
    for i in range(number):
        thing = an_object(joints=2, place=shelf, number=f"P {number} {i:03d}")
        joint = Joint.objects.get(restoration__object=thing, label="J1")
        an_assessment(thing, stages={joint: 2}, handling="care")
    return shelf


def test_a_pack_holds_what_a_shelf_needs(surveyor):
    shelf = a_shelf_of(2)
    found = surveyor.get(f"/capture/pack/?shelf={shelf.pk}").json()
    assert [thing["number"] for thing in found["objects"]] == ["P 2 000", "P 2 001"]
    first = found["objects"][0]
    assert first["last"]["handling"] == "care" and first["place"] == str(shelf.pk)
    assert [(p["label"], p["facts"]["length_mm"]) for p in first["parts"]] == [("J1", 80.0), ("J2", 80.0)]
    assert [p["last"] and p["last"]["stage"] for p in first["parts"]] == [2, None]
    assert found["definitions"]["stages"][3]["name"] == "Failing joint"


def test_a_pack_asks_the_same_number_of_questions_for_one_object_and_for_fifty(
    surveyor, django_assert_num_queries, django_assert_max_num_queries
):
    one, fifty = a_shelf_of(1), a_shelf_of(50)
    survey_round = a_round()
    query = f"round={survey_round.pk}"
    with django_assert_max_num_queries(20) as counted:
        surveyor.get(f"/capture/pack/?shelf={one.pk}&{query}")
    with django_assert_num_queries(len(counted)):
        assert len(surveyor.get(f"/capture/pack/?shelf={fifty.pk}&{query}").json()["objects"]) == 50
    assert SurveyRound.objects.count() == 1


def test_a_checklist_section_can_be_taken_along(surveyor):
    exhibition, inside, outside = an_exhibition(), an_object(), an_object()
    an_entry(exhibition, inside, section="Harbour")
    an_entry(exhibition, outside, section="Kitchen")
    answer = surveyor.get(f"/capture/pack/?exhibition={exhibition.pk}&section=Harbour").json()
    assert [thing["id"] for thing in answer["objects"]] == [str(inside.pk)]
    offered = surveyor.get("/capture/choices/").json()["checklists"]
    assert offered[0]["sections"] == [{"section": "Harbour", "objects": 1}, {"section": "Kitchen", "objects": 1}]


@pytest.mark.parametrize("query", ["", "shelf=x", "shelf=../..", "exhibition=%00", "drop=1", "section=a", "round=1"])
def test_a_pack_must_be_asked_for_in_a_known_way(surveyor, query):
    assert surveyor.get(f"/capture/pack/?{query}").status_code == 400


def test_more_objects_than_a_tablet_takes_are_refused_in_words(surveyor):
    shelf = a_place()
    Object.objects.bulk_create(Object(number=f"M {i}", number_key=f"M {i}", place=shelf) for i in range(601))
    answer = surveyor.get(f"/capture/pack/?shelf={shelf.pk}")
    assert answer.status_code == 400 and "choose fewer shelves" in answer.json()["error"]


def test_what_a_pack_gives_can_be_sent_back(surveyor, me):
    """The way round: a pack's own names and bases are taken without a conflict."""
    shelf = a_shelf_of(1)
    thing = surveyor.get(f"/capture/pack/?shelf={shelf.pk}").json()["objects"][0]
    tablet = Tablet(me)
    parts = [joint_seen(part["id"], 1) for part in thing["parts"]]
    seen = tablet.assesses(
        thing["id"], place=thing["place"], after=thing["place_after"], known=thing["assessments"], **restored(*parts)
    )
    joint = thing["parts"][0]
    longer = tablet.changes(
        joint["id"], "length_mm", 81, was=joint["facts"]["length_mm"], thing=Object.objects.get(pk=thing["id"])
    )
    statuses = [each["status"] for each in send(surveyor, seen, longer).json()["results"]]
    assert statuses == ["applied", "applied"]
    again = surveyor.get(f"/capture/pack/?shelf={shelf.pk}").json()["objects"][0]
    assert again["place_after"] == [seen["id"]]
    assert again["parts"][0]["after"] == {"length_mm": [longer["id"]]}


def test_a_day_sent_again_costs_a_few_questions_and_changes_nothing(surveyor, me, django_assert_max_num_queries):
    tablet = Tablet(me)
    told = [tablet.assesses(an_object()) for _ in range(30)]
    send(surveyor, *told)
    events = Event.objects.count()
    with django_assert_max_num_queries(16):
        again = send(surveyor, *told).json()["results"]
    assert {each["status"] for each in again} == {"already had"} and len(again) == 30
    assert (Operation.objects.count(), Assessment.objects.count(), Event.objects.count()) == (30, 30, events)
