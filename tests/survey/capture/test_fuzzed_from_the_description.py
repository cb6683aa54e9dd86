"""Requests drawn from the published description, right and wrong ones: no fault of the server, every answer described.

By hand for longer: FETTLE_TEST_FUZZ=3000 .venv/bin/python -m pytest (this file)
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.generation import GenerationMode

from survey.capture.web import api
from tests.builders import a_place, an_object
from tests.survey.capture.test_described_interface import wrong

TIMES = int(os.environ.get("FETTLE_TEST_FUZZ", "25"))
DESCRIBED = json.loads((Path(api.__file__).parents[1] / "openapi.json").read_text())
OPERATIONS = {each.ok().label: each.ok() for each in schemathesis.openapi.from_dict(DESCRIBED).get_all_operations()}


def test_the_description_holds_operations_to_draw_from():
    assert len(OPERATIONS) == sum(len(set(path) - {"parameters"}) for path in DESCRIBED["paths"].values()) >= 6


@pytest.mark.django_db
@pytest.mark.parametrize("label", OPERATIONS)
def test_no_drawn_request_finds_a_fault(surveyor, label):
    an_object(joints=1, place=a_place())
    operation, seen = OPERATIONS[label], set()
    modes = [operation.as_strategy(generation_mode=mode) for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)]

    @settings(
        max_examples=TIMES, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck)
    )
    @given(case=st.one_of(*modes))
    def fire(case: Any) -> None:
        answer = surveyor.generic(case.method, _address(case), _body(case), **_headers(case))
        seen.add(answer.status_code)
        assert answer.status_code < 500, (case, answer.content[:300])
        told = DESCRIBED["paths"][case.path][case.method.lower()]["responses"]
        assert str(answer.status_code) in told, (answer.status_code, case)
        schema = told[str(answer.status_code)]["content"]["application/json"]["schema"]
        assert wrong(answer.json(), schema, DESCRIBED) == []

    fire()
    assert seen


def _address(case: Any) -> str:
    path = case.path
    for name, value in (case.path_parameters or {}).items():
        path = path.replace(f"{{{name}}}", quote(str(value), safe=""))
    query = {name: value for name, value in (case.query or {}).items() if value is not None}
    return f"{path}?{urlencode(query, doseq=True, errors='replace')}"


def _body(case: Any) -> bytes:
    body = case.body
    if isinstance(body, bytes):
        return body
    if isinstance(body, dict | list | str | int | float | bool) or body is None:
        return json.dumps(body).encode()
    return b""


def _headers(case: Any) -> dict[str, str]:
    told = {
        f"HTTP_{name.upper().replace('-', '_')}": str(value)
        for name, value in (case.headers or {}).items()
        if str(value).isascii() and str(value).isprintable()
    }
    return told | {"content_type": case.media_type or "application/json"}
