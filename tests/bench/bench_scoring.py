"""A whole scoring of an invented collection, database included: how long it takes, and which part of it takes what.

Run from the top folder: OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_scoring [objects]. It makes its own database
in a temporary folder, or in an empty one that FETTLE_DATABASE names. 200 draws, three milestones; one process does all
parts, as one worker would. Processor time of that process is counted, not the clock on the wall.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
PARTS = ("foot", "rim", "handle", "neck", "wall", "spout")
TIMED = {  # where it is called from: what it is, in words
    "survey.risk.db.services.scoring.gather": "reading the record, to learn",
    "survey.risk.db.services.scoring.learn_from": "learning habits and pace (and reading)",
    "survey.risk.db.services.running.gather": "reading the record, to score",
    "survey.risk.whole.tied": "adhesives",
    "survey.risk.whole.score_together": "shared causes",
    "survey.risk.whole.yearly_rates": "yearly rates, three paces",
    "survey.risk.whole.contributions": "what a chance is made of",
    "survey.risk.whole.chances_if": "what would change it",
    "survey.risk.whole.draw_chances": "200 draws",
    "survey.risk.db.services.running.write": "making and writing rows (reasons included)",
    "survey.risk.db.services.running.order_of": "order, ties, the first",
    "survey.risk.db.services.running.finish_run": "writing the order",
}
spent: dict[str, float] = defaultdict(float)


def timed(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
    def run(*args: Any, **kwargs: Any) -> Any:
        begun = time.process_time()
        try:
            return work(*args, **kwargs)
        finally:
            spent[name] += time.process_time() - begun

    return run


@contextmanager
def watched() -> Iterator[None]:
    """All of ``TIMED`` timed."""
    import importlib

    real = {}
    for path in TIMED:
        module, _, name = path.rpartition(".")
        holder = importlib.import_module(module)
        real[path] = (holder, name, getattr(holder, name))
        setattr(holder, name, timed(path, real[path][2]))
    try:
        yield
    finally:
        for holder, name, work in real.values():
            setattr(holder, name, work)


def a_collection(objects: int, seed: int = 0) -> int:
    """Objects with one to five joints of one restoration each, half of them seen; returns how many joints."""
    from media.base.models import User
    from survey.models import (
        AdhesiveEvidence,
        Assessment,
        ChecklistEntry,
        Exhibition,
        Joint,
        JointSeen,
        Milestone,
        Object,
        Place,
        Restoration,
        Workshop,
    )

    rng = np.random.default_rng(seed)

    def key() -> uuid.UUID:
        return uuid.UUID(bytes=rng.bytes(16))

    by = User.objects.create(username="bench", role="surveyor")
    shops = [Workshop.objects.create(name=f"Workshop {n}") for n in range(12)]
    places = [
        Place.objects.create(kind="shelf", name=f"Shelf {n}", full_name=f"Shelf {n}", path=f"{n:05d}.", position=n)
        for n in range(200)
    ]
    opening = Exhibition.objects.create(name="Bench")
    for kind, days in (("photography", 200), ("mount_making", 300), ("opening", 500)):
        Milestone.objects.create(exhibition=opening, kind=kind, date=date(2026, 3, 2) + timedelta(days=days))
    things = [
        Object(
            id=key(), number=f"B {n}", number_key=f"B {n}", simple_name="jar", height_mm=float(rng.uniform(60, 500)),
            width_mm=float(rng.uniform(60, 300)), place=places[n % 200], significance=int(rng.integers(1, 6)),
        )
        for n in range(objects)
    ]  # fmt: skip
    Object.objects.bulk_create(things, 500)
    years = rng.integers(1900, 2005, objects)
    work = [
        Restoration(
            id=key(), object=thing, year_earliest=int(year), year_latest=int(year) + 5,
            workshop=shops[int(rng.integers(12))] if rng.random() < 0.6 else None,
        )
        for thing, year in zip(things, years, strict=True)
    ]  # fmt: skip
    Restoration.objects.bulk_create(work, 500)
    joints = [
        Joint(id=key(), restoration=one, label=f"J{i + 1}", part=PARTS[int(rng.integers(6))])
        for one in work
        for i in range(int(rng.integers(1, 6)))
    ]
    Joint.objects.bulk_create(joints, 500)
    looks: dict[uuid.UUID, list[Assessment]] = defaultdict(list)
    for thing in things:
        for back in (9, 0)[int(rng.random() < 0.8) :] if rng.random() < 0.5 else ():
            at = NOW - timedelta(days=365 * back)
            looks[thing.id].append(
                Assessment(id=key(), object=thing, surveyor=by, definitions=1, started_at=at, finished_at=at)
            )
    Assessment.objects.bulk_create([each for held in looks.values() for each in held], 500)
    JointSeen.objects.bulk_create(
        [
            JointSeen(assessment=look, joint=joint, stage=int(rng.choice(4, p=[0.5, 0.3, 0.15, 0.05])))
            for joint in joints
            for look in looks.get(joint.restoration.object_id, ())
        ],
        500,
    )
    tested = [joint for joint in joints if rng.random() < 0.1]
    AdhesiveEvidence.objects.bulk_create(
        [AdhesiveEvidence(joint=joint, basis="look", finding="yellow_shrunk_film", at=NOW) for joint in tested],
        500,
    )
    ChecklistEntry.objects.bulk_create(
        [
            ChecklistEntry(exhibition=opening, object=thing, use=("case", "travels")[n % 2], importance=1 + n % 5)
            for n, thing in enumerate(things[: max(1, objects // 10)])
        ],
        500,
    )
    return len(joints)


def main(objects: int) -> None:
    """Make a collection, score it, and print what took how long."""
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    from media.base import jobs
    from media.base.models import Job
    from survey.risk.db.services import start_run

    settings.CELERY_BROKER_URL = "memory://"
    call_command("migrate", verbosity=0)
    joints = a_collection(objects)
    for _ in (False, True)[objects > 2000 :]:  # once to have everything compiled and loaded, where that counts
        spent.clear()
        job = start_run(by=None, at=NOW)[1]
        begun = time.process_time()
        with watched():
            jobs.run(job.pk)
        whole = time.process_time() - begun
        job = Job.objects.get(pk=job.pk)
        assert job.state == "done", job.error
    print(f"{objects:,} objects, {joints:,} joints, 200 draws, in {whole:.1f} s: {1e3 * whole / joints:.2f} ms a joint")
    more = 300_000 / joints
    print(f"300,000 joints of {objects * more:,.0f} objects at that pace: {whole * more / 60:.1f} min")
    for path, words in TIMED.items():
        print(f"  {words:46s} {spent[path]:7.2f} s  {spent[path] / whole:6.1%}")
    print(f"most memory held: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("FETTLE_VAR", folder)
        os.environ.setdefault("FETTLE_LOG_LEVEL", "ERROR")
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
