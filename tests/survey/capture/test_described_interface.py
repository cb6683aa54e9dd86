"""The published description against the code: every route, every field, every list of words, and real answers."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.contrib.auth import get_user_model

from media.markup import geometry
from survey.capture import bodies, operations
from survey.capture.web import urls
from survey.condition import marking
from survey.models import Joint
from tests.builders import a_place, a_round, an_assessment, an_entry, an_exhibition, an_object
from tests.survey.capture.tablets import Tablet, a_restoration, joint_seen, restored
from tests.survey.capture.test_speaking_to_tablets import a_jpeg, put, send
from tests.survey.condition.db.test_drawing_on_photographs import SCALE, a_mark

pytestmark = pytest.mark.django_db


@pytest.fixture
def described(surveyor) -> dict[str, Any]:
    answer = surveyor.get("/capture/openapi.json")
    assert answer["content-type"] == "application/json"
    return dict(json.loads(answer.getvalue()))


def wrong(value: Any, schema: dict[str, Any], whole: dict[str, Any], where: str = "") -> list[str]:
    """Where a value departs from a schema, for the words of JSON Schema 2020-12 that the description uses."""
    if "$ref" in schema:
        return wrong(value, whole["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]], whole, where)
    if "oneOf" in schema:
        fits = [each for each in schema["oneOf"] if not wrong(value, each, whole, where)]
        return [] if len(fits) == 1 else [f"{where}: fits {len(fits)} of the shapes"]
    kinds = {
        "object": dict, "array": list, "string": str, "boolean": bool, "null": type(None), "integer": int,
        "number": (int, float),
    }  # fmt: skip
    names = schema.get("type", [])
    names = [names] if isinstance(names, str) else names
    if names and not any(isinstance(value, kinds[n]) and (n == "boolean" or value is not True) for n in names):
        return [f"{where}: is no {names}"]
    return _inside(value, schema, whole, where)


def _inside(value: Any, schema: dict[str, Any], whole: dict[str, Any], where: str) -> list[str]:
    found = [f"{where}: not among {schema['enum']}"] if "enum" in schema and value not in schema["enum"] else []
    if isinstance(value, dict) and "properties" in schema:
        found += [f"{where}: lacks {n}" for n in schema["required"] if n not in value]
        found += [f"{where}: knows no {n}" for n in value if n not in schema["properties"]]
        for name, inner in schema["properties"].items():
            found += wrong(value[name], inner, whole, f"{where}.{name}") if name in value else []
    if isinstance(value, dict) and isinstance(schema.get("additionalProperties"), dict):
        for name, each in value.items():
            found += wrong(each, schema["additionalProperties"], whole, f"{where}.{name}")
    if isinstance(value, list):
        found += [line for i, v in enumerate(value) for line in wrong(v, schema["items"], whole, f"{where}[{i}]")]
        found += [f"{where}: too many"] if len(value) > schema.get("maxItems", len(value)) else []
    if isinstance(value, str) and "pattern" in schema and not re.search(schema["pattern"], value):
        found.append(f"{where}: is not {schema['pattern']}")
    if isinstance(value, int | float) and not isinstance(value, bool):
        low, high = schema.get("minimum", value), schema.get("maximum", value)
        found += [] if low <= value <= high else [f"{where}: beyond {low} to {high}"]
    return found


def test_every_route_is_described_and_every_description_is_a_route(described):
    pages = {
        "openapi", "home", "load", "reconcile", "worker", "manifest", "decide", "decide_operation", "labels",
        "label_sheets",
    }  # fmt: skip
    routes = {
        "/capture/" + re.sub(r"<\w+:(\w+)>", r"{\1}", str(one.pattern))
        for one in urls.urlpatterns
        if one.name not in pages
    }
    assert routes == set(described["paths"])


@pytest.mark.parametrize("path", ["status", "choices", "pack", "operations", "photographs/" + "0" * 64])
def test_other_methods_are_refused_as_described(surveyor, described, path):
    name = "/capture/photographs/{sha256}/" if "photographs" in path else f"/capture/{path}/"
    known = {method.upper() for method in described["paths"][name] if method != "parameters"}
    for method in {"GET", "POST", "PUT", "PATCH", "DELETE"} - known:
        answer = surveyor.generic(method, f"/capture/{path}/")
        assert answer.status_code == 405 and set(answer["allow"].split(", ")) == known


def test_operations_are_described_field_by_field(described):
    schemas = described["components"]["schemas"]
    fields = {name: set(schemas[name]["properties"]) for name in schemas if "properties" in schemas[name]}
    assert fields["Operation"] == set(schemas["Operation"]["required"]) == set(operations.NEEDS)
    assert fields["AssessmentBody"] == set(bodies.ASSESSMENT)
    assert fields["PartMade"] == {name for names in bodies.FACTS.values() for name in names}
    assert schemas["Operation"]["properties"]["kind"]["enum"] == list(operations.KINDS)
    assert schemas["Batch"]["properties"]["operations"]["maxItems"] == operations.MOST_OPERATIONS
    assert schemas["Operation"]["properties"]["photographs"]["maxItems"] == operations.MOST_PHOTOGRAPHS
    words = schemas["AssessmentBody"]["properties"]
    assert words["handling"]["enum"] == [*bodies.HANDLING, ""]
    assert words["damage"]["enum"] == [*bodies.GRADED, ""]
    assert words["found"]["enum"] == list(bodies.FOUND)
    assert schemas["Mark"]["properties"]["term"]["enum"] == list(marking.SHAPES)
    assert schemas["Mark"]["properties"]["points"]["maxItems"] == geometry.MOST_POINTS
    assert schemas["Drawing"]["properties"]["marks"]["maxItems"] == geometry.MOST_MARKS
    assert schemas["Drawing"]["properties"]["width"]["maximum"] == geometry.LARGEST_SIDE
    assert schemas["Adhesive"]["properties"]["adhesive"]["enum"] == list(bodies.ADHESIVES)
    for name, most in bodies.SIZES.items():
        assert schemas["PartMade"]["properties"][name]["oneOf"][0]["maximum"] == most


def test_the_words_of_operations_are_those_of_the_survey():
    from survey.condition.db.models import Adhesive, Answer, Basis, Fill, Found, Grade, Handling, Visit
    from survey.condition.db.services.restoring import FIELDS, SIZES

    assert set(bodies.ADHESIVES) == set(Adhesive.values) and set(bodies.ANSWERS) == set(Answer.values)
    assert set(bodies.FOUND) == set(Found.values) and set(bodies.GRADED) == set(Grade.values)
    assert set(bodies.HANDLING) == set(Handling.values) and set(bodies.VISITS) == set(Visit.values)
    assert set(bodies.BASES) == set(Basis.values)
    assert set(bodies.MATERIALS) == {code for code, _ in Fill._meta.get_field("material").choices or ()}
    assert {name: most for name, (_, most, _) in SIZES.items()} == bodies.SIZES
    for model, names in FIELDS.items():
        assert set(bodies.FACTS[model._meta.model_name]) == set(names) - {"basis"}


def test_real_requests_and_answers_have_the_described_shape(surveyor, described):
    me = get_user_model().objects.get(pk=surveyor.session["_auth_user_id"])
    shelf, tablet, campaign = a_place(), Tablet(me), a_restoration()
    thing = an_object(joints=1, place=shelf)
    an_assessment(thing, stages={Joint.objects.get(): 1})
    an_entry(an_exhibition(), thing, section="Harbour")
    part = joint_seen("0d3c4a5e-0000-4000-8000-0000000000aa", 2, made={"length_mm": 4}, restoration=campaign["id"])
    told = [
        tablet.assesses(thing, **restored(part, joint_seen(Joint.objects.get(), 1), restorations=[campaign])),
        tablet.changes(Joint.objects.get(), "structural", True, was=None),
        tablet.finds("Q 1", shelf.pk),
        tablet.draws(thing, "ab" * 32, a_mark("joint", Joint.objects.first().pk), scale=SCALE),
    ]
    schemas = described["components"]["schemas"]
    assert [line for each in told for line in wrong(each, schemas["Operation"], described)] == []
    answers = {
        "BatchAnswer": send(surveyor, *told), "Status": surveyor.get("/capture/status/"),
        "Choices": surveyor.get("/capture/choices/"), "Stand": put(surveyor, a_jpeg()),
        "Pack": surveyor.get(f"/capture/pack/?shelf={shelf.pk}&round={a_round().pk}"),
        "Error": surveyor.get("/capture/pack/"),
    }  # fmt: skip
    for name, answer in answers.items():
        assert wrong(answer.json(), schemas[name], described, name) == []
    assert {each["status"] for each in answers["BatchAnswer"].json()["results"]} == {"applied", "held"}


def test_a_departure_from_the_description_is_found(described):
    schemas = described["components"]["schemas"]
    assert wrong({"offset": 1}, schemas["Stand"], described) == [": lacks complete"]
    assert wrong({"offset": "1", "complete": True}, schemas["Stand"], described)
    assert wrong({"offset": 1, "complete": True, "more": 1}, schemas["Stand"], described)
