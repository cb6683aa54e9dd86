"""A whole day of three tablets through the real server: 300 assessments, 900 photographs of 3 MB, then all of it again.

    .venv/bin/python -m tests.bench.bench_day [--assessments 300] [--photographs 900] [--no-worker]
    FETTLE_DATABASE=postgresql://postgres@127.0.0.1/postgres .venv/bin/python -m tests.bench.bench_day

Prints the seconds of the delivery and the server's processor time, beside what hashing and writing the same bytes to
the same disk takes by itself, the most memory that the server had, the operations a second of delivering the same day
again, and that this gave no new row. Goals: 60 s and 200 MB; 1,000 operations a second and no row.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import os
import struct
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from media.management.commands.start import DEMO_PASSWORD
from tests.processes import Installation
from tests.sending import Sender

TABLETS = 3
MUSEUM = f"""
from media.base.models import User
from survey.models import Object, Place
User.objects.create_user('head', password={DEMO_PASSWORD!r}, role='head')
for s in range(10):
    shelf = Place.objects.create(
        kind='shelf', name=f'Shelf {{s}}', position=s, path=f'{{s:05}}.', full_name=f'Store A, shelf {{s}}')
    Object.objects.bulk_create(
        Object(number=f'D {{s}}-{{i}}', number_key=f'D {{s}}-{{i}}', simple_name='jar', place=shelf)
        for i in range(EACH))
"""
TABLES = (
    "survey_operation", "survey_assessment", "survey_joint", "survey_jointseen", "survey_sign", "survey_fill",
    "survey_objectphotograph", "survey_photographwanted", "survey_fieldedit", "survey_conflict", "media_photograph",
    "media_event", "media_job",
)  # fmt: skip
GRADED = {"instability": "fair", "damage": "fair", "disfigurement": "good"}
PLAIN: dict[str, Any] = {
    "round": None, "definitions": 1, "visit": "round", "seconds": 90, "found": "here", "place_found": None,
    "old_restoration": "none", **GRADED, "handling": "care", "observation": "", "interpretation": "",
    "as_last_time": None, "restorations": [], "parts": [], "views": {},
}  # fmt: skip


def a_large_photograph() -> bytes:
    """A JPEG of twelve megapixels and about 3 MB: smooth shapes with the grain of a sensor."""
    rng = np.random.default_rng(1)
    across, down = np.meshgrid(np.linspace(0, 9, 4000), np.linspace(0, 7, 3000))
    plain = 128 + 60 * np.sin(across) * np.cos(down)
    grain = rng.normal(0, 7.5, plain.shape)
    picture = np.stack([plain + grain, plain * 0.9 + grain, plain * 0.7 + grain], axis=-1).clip(0, 255)
    out = io.BytesIO()
    Image.fromarray(picture.astype(np.uint8)).save(out, "JPEG", quality=85)
    return out.getvalue()


def another(photograph: bytes, number: int) -> bytes:
    """The same picture as another file: a comment with a number (ITU-T T.81, B.2.4.5), so that it has its own hash."""
    words = f"{number:08}".encode()
    return photograph[:2] + b"\xff\xfe" + struct.pack(">H", len(words) + 2) + words + photograph[2:]


def a_day(sender: Sender, objects: list[str], named: list[list[str]]) -> Iterator[dict[str, Any]]:
    """One tablet's operations: every fourth object restored, with four joints, a fill and two signs."""
    now = datetime.now(UTC)
    for i, (thing, photographs) in enumerate(zip(objects, named, strict=True)):
        views = dict.fromkeys(photographs, "Front")
        body = PLAIN | {"views": views} | (_restored() if i % 4 == 0 else {})
        yield {
            "id": str(uuid.uuid4()), "device": sender.device, "sequence": i + 1, "schema_version": 1,
            "kind": "assessment", "object_id": thing, "body": body, "photographs": photographs, "made_by": sender.user,
            "based_on": {"after": [], "value": None, "here": None, "assessments": []}, "monotonic": float(i),
            "wall_clock": (now - timedelta(minutes=len(objects) - i)).isoformat(),
        }  # fmt: skip


def _restored() -> dict[str, Any]:
    campaign = {"id": str(uuid.uuid4()), "date_text": "about 1950", "workshop": "", "notes": ""}
    signs = [{"code": code, "answer": "present", "extent_percent": None} for code in ("edge_lifting", "gap")]
    joints = [_part("joint", campaign["id"], stage) for stage in (0, 1, 1)]
    fill = _part("fill", campaign["id"], None)
    parts = [*joints, _part("joint", campaign["id"], 3) | {"signs": signs}, fill | {"signs": _no_sign()}]
    return {"old_restoration": "present", "restorations": [campaign], "parts": parts}


def _part(kind: str, campaign: str, stage: int | None) -> dict[str, Any]:
    return {
        "kind": kind, "id": str(uuid.uuid4()), "made": {"part": "rim"}, "new": True, "restoration": campaign,
        "stage": stage, "answer": "seen" if kind == "joint" else None, "signs": [], "evidence": [],
    }  # fmt: skip


def _no_sign() -> list[dict[str, Any]]:
    terms = json.loads((Path(__file__).parents[2] / "fixtures/definitions.json").read_text())
    signs = terms["versions"][0]["signs"]["fill"]
    return [{"code": each["code"], "answer": "none", "extent_percent": None} for each in signs]


def by_itself(photographs: list[bytes], folder: Path) -> float:
    """Seconds to hash the photographs and write each to disk so that a power cut leaves it there."""
    began = time.perf_counter()
    for data in photographs:
        path = folder / hashlib.sha256(data).hexdigest()
        with path.open("wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        path.unlink()
    return time.perf_counter() - began


def most_memory(pid: int) -> float:
    """Megabytes that a process has had at most."""
    line = next(each for each in Path(f"/proc/{pid}/status").read_text().splitlines() if each.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


def worked(pid: int) -> float:
    """Seconds of processor time that a process has had, whatever else the machine did."""
    after_name = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")


def counts(museum: Installation) -> dict[str, int]:
    return {name: museum.rows(f"SELECT count(*) FROM {name}")[0][0] for name in TABLES}  # noqa: S608  # our names


class Day:
    """Three tablets' senders, operations and photographs."""

    def __init__(self, museum: Installation, assessments: int, photographs: int) -> None:
        picture = a_large_photograph()
        self.size = len(picture) / 1e6
        every = [another(picture, i) for i in range(photographs)]
        names = [hashlib.sha256(data).hexdigest() for data in every]
        objects = [str(uuid.UUID(str(pk))) for (pk,) in museum.rows("SELECT id FROM survey_object ORDER BY number")]
        objects = objects[:assessments]
        share = photographs // max(assessments, 1)
        self.tablets = []
        for t in range(TABLETS):
            sender = Sender(museum.address, str(uuid.uuid4()), who="head", password=DEMO_PASSWORD)
            mine = list(range(t, len(objects), TABLETS))
            named = [names[i * share : (i + 1) * share] for i in mine]
            operations = list(a_day(sender, [objects[i] for i in mine], named))
            self.tablets.append(
                (sender, operations, [every[k] for i in mine for k in range(i * share, (i + 1) * share)])
            )
        self.photographs = every

    def deliver(self) -> tuple[float, float]:
        """Everything as tablets send it, operations first; the seconds of both and of all."""
        began = time.perf_counter()
        self._each(lambda sender, operations, _: sender.operations(operations))
        told = time.perf_counter() - began
        self._each(lambda sender, _, photographs: [sender.photograph(data) for data in photographs])
        return told, time.perf_counter() - began

    def again(self) -> float:
        """The operations once more; how many a second. All must be there already."""
        began = time.perf_counter()
        told = self._each(lambda sender, operations, _: sender.operations(operations))
        taken = time.perf_counter() - began
        states = {answer["status"] for answers in told for answer in answers}
        if states != {"already had"}:
            raise AssertionError(f"delivered again: {states}")
        return sum(len(answers) for answers in told) / taken

    def _each(self, act: Callable[..., Any]) -> list[Any]:
        with ThreadPoolExecutor(TABLETS) as pool:
            return list(pool.map(lambda tablet: act(*tablet), self.tablets))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--assessments", type=int, default=300)
    parser.add_argument("--photographs", type=int, default=900)
    parser.add_argument("--no-worker", action="store_true", help="leave the scoring that follows to later")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        museum = Installation(Path(folder))
        try:
            museum.manage("migrate", "-v", "0")
            museum.shell(MUSEUM.replace("EACH", str(-(-chosen.assessments // 10))))
            museum.server(*(["--no-worker"] if chosen.no_worker else []))
            return measured(museum, chosen)
        finally:
            museum.close()


def measured(museum: Installation, chosen: argparse.Namespace) -> int:
    day = Day(museum, chosen.assessments, chosen.photographs)
    floor = by_itself(day.photographs, museum.folder)
    server, before = museum.started[-1].pid, worked(museum.started[-1].pid)
    told, taken = day.deliver()
    memory, stands, own = most_memory(server), counts(museum), worked(server) - before
    rate = day.again()
    for sender, _, photographs in day.tablets:
        for data in photographs:
            sender.photograph(data)
    now = counts(museum)
    new = {name: now[name] - stands[name] for name in TABLES if name != "media_job" and now[name] != stands[name]}
    whole = (stands["survey_assessment"], stands["survey_objectphotograph"])
    print(f"{museum.database.split(':')[0]}: {whole[0]} assessments, {whole[1]} photographs of {day.size:.1f} MB")
    print(f"operations {told:.1f} s, with photographs {taken:.1f} s; the bytes by themselves {floor:.1f} s")
    print(f"the server's own processor time {own:.1f} s, its memory at most {memory:.0f} MB")
    print(f"the same day again: {rate:.0f} operations a second, new rows: {new or 'none'}")
    good = whole == (chosen.assessments, chosen.photographs) and not new
    return 0 if good and taken <= 60 and memory < 200 and rate >= 1_000 else 1


if __name__ == "__main__":
    sys.exit(main())
