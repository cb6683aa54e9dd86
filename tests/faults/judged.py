"""What must hold of a tablet and the server after a shift, judged from the files of both and not by the product."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections import Counter
from typing import Any

from tests.faults.tablets import Looked, said
from tests.processes import Installation

ANSWERS = ("old_restoration", "instability", "damage", "disfigurement", "handling")


class Broken(AssertionError):
    """Something was lost, doubled or changed."""


def need(holds: Any, words: str) -> None:
    if not holds:
        raise Broken(words)


def check(museum: Installation, looks: list[Looked], disk: dict[str, Any]) -> None:
    """One tablet, whose person did ``looks`` and which holds ``disk``, against the server. Raises ``Broken``."""
    finished = [looked for looked in looks if looked.finished]
    sent = [kept["operation"] for kept in disk["outbox"]]
    need(all(kept["state"] == "sent" for kept in disk["outbox"]), f"not sent: {disk['outbox']}")
    here, there = Counter(one["object_id"] for one in sent), Counter(looked.object for looked in finished)
    need(here == there, f"the outbox holds {here}, saved were {there}")
    for looked in finished:
        [operation] = [one for one in sent if one["object_id"] == looked.object]
        as_said(operation, looked)
        on_server(museum, operation, looked)
    for device in {one["device"] for one in sent}:
        query = f"SELECT count(*) FROM survey_operation WHERE device_id = '{as_key(museum, device)}'"  # noqa: S608
        need(museum.rows(query) == [(len(sent),)], f"the server holds {museum.rows(query)} operations of {len(sent)}")
    drafts = {one["object"]: one for one in disk["drafts"]}
    for looked in looks:
        if not looked.finished:
            as_begun(drafts.get(looked.object), looked, disk["photographs"])


def as_key(museum: Installation, name: Any) -> str:
    """A UUID as the database writes it."""
    key = uuid.UUID(str(name))
    return key.hex if museum.database.startswith("sqlite") else str(key)


def as_said(operation: dict[str, Any], looked: Looked) -> None:
    body, told = operation["body"], said(looked, len(looked.touches))
    for name in ANSWERS:
        need(body[name] == told[name], f"{looked.number}: {name} is {body[name]}, said was {told[name]}")
    need(len(body["parts"]) == told.get("made", 0), f"{looked.number}: {len(body['parts'])} parts")
    need(set(operation["photographs"]) == names_of(looked.photographs), f"{looked.number}: other photographs are named")


def names_of(photographs: list[bytes]) -> set[str]:
    return {hashlib.sha256(data).hexdigest() for data in photographs}


def on_server(museum: Installation, operation: dict[str, Any], looked: Looked) -> None:
    """Once, as it was made, with an assessment and every photograph."""
    query = f"SELECT state, raw, assessment_id FROM survey_operation WHERE uuid = '{as_key(museum, operation['id'])}'"  # noqa: S608
    rows = museum.rows(query)
    need(len(rows) == 1, f"{looked.number}: {len(rows)} rows of one operation")
    state, raw, assessment = rows[0]
    need(state == "applied" and json.loads(raw) == operation, f"{looked.number}: {state}, or another body")
    key = as_key(museum, assessment)
    query = f"SELECT photograph_id FROM survey_objectphotograph WHERE assessment_id = '{key}'"  # noqa: S608
    kept = [name for (name,) in museum.rows(query)]
    need(sorted(kept) == sorted(names_of(looked.photographs)), f"{looked.number}: {len(kept)} photographs are attached")
    for data in looked.photographs:
        name = hashlib.sha256(data).hexdigest()
        path = next((museum.folder / "photographs/original").rglob(f"{name}*"), None)
        need(path and path.read_bytes() == data, f"{looked.number}: a photograph has other bytes")


def as_begun(draft: dict[str, Any] | None, looked: Looked, photographs: dict[str, Any]) -> None:
    """A draft as it was last touched, its photographs beside it."""
    if draft is None:
        need(not looked.done, f"{looked.number}: the draft is gone")
        return
    told = said(looked, looked.done)
    need(len(draft["before"]) == looked.done, f"{looked.number}: {len(draft['before'])} touches of {looked.done}")
    for name in ANSWERS:
        need(draft["answers"].get(name) == told.get(name), f"{looked.number}: {name} of a draft changed")
    need(len(draft["made"]) == told.get("made", 0), f"{looked.number}: parts of a draft changed")
    stages = sum(seen["stage"] is not None for seen in draft["seen"].values())
    need(stages == told.get("stages", 0), f"{looked.number}: stages of a draft changed")
    for name in names_of(looked.photographs[: told.get("photographs", 0)]):
        need(photographs.get(name, {}).get("hash") == name, f"{looked.number}: a photograph of a draft is gone")
