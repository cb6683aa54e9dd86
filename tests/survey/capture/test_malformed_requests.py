"""Thousands of requests that are wrong in some way: never a fault of the server, nothing half applied.

By hand for longer: FETTLE_TEST_MALFORMED=10000 .venv/bin/python -m pytest (this file)
"""

from __future__ import annotations

import copy
import json
import os
import uuid
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from media.base.models import Event
from survey.models import (
    Assessment,
    Conflict,
    FieldEdit,
    Joint,
    JointSeen,
    Made,
    ObjectMove,
    Operation,
    PhotographWanted,
    Restoration,
    Sign,
)
from tests.builders import a_place, an_object
from tests.survey.capture.tablets import Tablet, a_restoration, joint_seen, restored

EFFECTS = (
    Assessment, JointSeen, Sign, Joint, Restoration, FieldEdit, Made, ObjectMove, PhotographWanted, Conflict,
)  # fmt: skip
OPERATIONS = int(os.environ.get("FETTLE_TEST_MALFORMED", "1000"))
ODD_VALUES = [2**63, -1, 10**30, 1e308, "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", str(uuid.UUID(int=7))]
ODD_TEXT = st.text(max_size=12) | st.sampled_from(["\x00", "\ud800", "J" * 300, "../../etc", "' OR 1=1 --", "１２"])
ANYTHING: Any = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | ODD_TEXT
    | st.sampled_from(ODD_VALUES),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(ODD_TEXT, inner, max_size=3),
    max_leaves=5,
)  # fmt: skip


def places_in(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a JSON value."""
    found = [path] if path else []
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, each in inner:
        found += places_in(each, (*path, name))
    return found


def spoilt(value: Any, draw: Any) -> Any:
    """A JSON value with one to three places replaced, taken away or doubled."""
    value = copy.deepcopy(value)
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(places_in(value)))
        holder = value
        for name in path[:-1]:
            holder = holder[name]
        what = draw(st.sampled_from(["replace", "replace", "remove", "add"]))
        if what == "remove":
            del holder[path[-1]]
        elif what == "add" and isinstance(holder, dict):
            holder[draw(ODD_TEXT)] = draw(ANYTHING)
        else:
            holder[path[-1]] = draw(ANYTHING)
        if not places_in(value):
            break
    return value


def encoded(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=True).encode()


def effects() -> dict[str, int]:
    return {model.__name__: model.objects.count() for model in EFFECTS} | {
        "events": Event.objects.exclude(verb__in=["held", "refused"]).count()
    }


@pytest.mark.django_db
def test_operations_spoilt_in_any_way_are_answered_and_never_half_applied(surveyor):
    me = get_user_model().objects.get(pk=surveyor.session["_auth_user_id"])
    thing = an_object(joints=1, place=a_place())
    joint, campaign = Joint.objects.get(), a_restoration()
    tried = {"requests": 0, "refused": 0}
    stands = effects()

    def whole(kind: str) -> dict[str, Any]:
        tablet = Tablet(me)
        if kind == "fact":
            return tablet.changes(joint, "length_mm", 90, was=80)
        if kind == "unlisted":
            return tablet.finds("Q 1", thing.place_id)
        part = joint_seen(str(uuid.uuid4()), 2, made={"part": "rim"}, restoration=campaign["id"], signs={"gap": 25})
        return tablet.assesses(
            thing, **restored(part, joint_seen(joint, 1), restorations=[campaign]), photographs={"a" * 64: "Front"}
        )

    @settings(
        max_examples=OPERATIONS // 5 + 5, deadline=None, database=None, derandomize=True,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )  # fmt: skip
    @given(data=st.data())
    def fire(data: st.DataObject) -> None:
        kind = data.draw(st.sampled_from(["assessment", "assessment", "fact", "unlisted"]))
        nonlocal stands
        for _ in range(5):
            before = stands
            operation = spoilt(whole(kind), data.draw)
            batch = {
                "device": str(uuid.uuid4()), "name": "", "sent_at": "2026-03-02T09:00:00Z", "unsent": 0,
                "operations": [operation],
            }  # fmt: skip
            answer = surveyor.post("/capture/operations/", encoded(batch), content_type="application/json")
            assert answer.status_code == 200, answer.content
            [result] = answer.json()["results"]
            tried["requests"] += 1
            stands = effects()
            if result["status"] in ("refused", "held"):
                tried["refused"] += 1
                assert result["reason"] and "\n" not in result["reason"]
                assert stands == before
            else:
                assert result["status"] in ("applied", "conflict", "already had")

    fire()
    assert tried["requests"] >= OPERATIONS and tried["refused"] >= 0.7 * OPERATIONS
    assert Operation.objects.filter(state="refused").exists()
    assert Assessment.objects.filter(finished_at=None).count() == 0


@pytest.mark.django_db
def test_requests_spoilt_as_a_whole_are_refused_in_json(surveyor):
    tried = {"requests": 0}
    batch = {"device": str(uuid.uuid4()), "name": "", "sent_at": "2026-03-02T09:00:00Z", "unsent": 0, "operations": []}

    @settings(max_examples=400, deadline=None, database=None, derandomize=True)
    @given(data=st.data())
    def fire(data: st.DataObject) -> None:
        body = data.draw(st.binary(max_size=60) | st.just(encoded(spoilt(batch, data.draw))))
        name = data.draw(st.text(alphabet="0123456789abcdefgx%", min_size=1, max_size=70))
        span = data.draw(st.from_regex(r"bytes \d{1,20}-\d{1,20}/\d{1,20}|[ -~]{0,20}", fullmatch=True))
        answers = [
            surveyor.post("/capture/operations/", body, content_type="application/json"),
            surveyor.get("/capture/pack/", {data.draw(ODD_TEXT.filter(_sendable)): "1", "shelf": name}),
            surveyor.put(f"/capture/photographs/{name.replace('%', '_')}/", body, HTTP_CONTENT_RANGE=span),
        ]
        for answer in answers:
            tried["requests"] += 1
            assert answer.status_code < 500
            assert answer["content-type"] == "application/json" and isinstance(answer.json(), dict)

    fire()
    assert tried["requests"] >= 1_000


def _sendable(text: str) -> bool:
    return bool(text) and not any(0xD800 <= ord(c) < 0xE000 for c in text)
