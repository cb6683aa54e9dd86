"""Several tablets and one server over the real code that takes operations in, with every fault that a seed gives.

One seed is one history, always the same. The tablets are told in Python what ``store.js`` and ``sync.js`` do in the
browser: an operation is saved once it is in the outbox, and leaves it only on a well-formed answer.
"""

from __future__ import annotations

import copy
import hashlib
import io
import random
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any
from unittest import mock

from django.conf import settings
from django.db import transaction
from PIL import Image

from media.base.models import Role, User
from survey.capture import operations
from survey.capture.db import services
from survey.capture.db.selectors import packs
from survey.capture.db.services.photographs import Stand, WrongPiece
from survey.models import Assessment, Joint, Object, Place
from tests.builders import NOW, a_person, a_place, an_assessment, an_object
from tests.survey.capture.tablets import CLEAR

SAFE = ("applied", "already had", "conflict", "held")
PIECE = 400
YEARS_OFF = timedelta(days=3650)
VERSION = 2
"""The server of the simulation is one version ahead, so that old tablets are among those that deliver."""


class Crash(Exception):
    """The server dies before its transaction is written."""


def version_two(data: dict[str, Any]) -> dict[str, Any]:
    """What the simulation's server does to an operation of version 1, which said "seen" for "observation"."""
    if isinstance(data.get("body"), dict) and "seen" in data["body"]:
        data = data | {"body": {("observation" if k == "seen" else k): v for k, v in data["body"].items()}}
    return data


@dataclass
class World:
    """What is there before any history begins; histories are rolled back to it."""

    people: list[User]
    places: list[Place]
    objects: list[Object]
    photographs: list[bytes]
    pack: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def made(cls) -> World:
        places = [a_place() for _ in range(3)]
        objects = [an_object(joints=n, place=place) for n, place in ((2, places[0]), (1, places[1]), (0, places[0]))]
        world = cls([a_person(role=Role.SURVEYOR) for _ in range(3)], places, objects, _photographs())
        world.pack = world.fresh_pack()
        return world

    def fresh_pack(self) -> dict[str, Any]:
        found = packs.pack(Object.objects.filter(pk__in=[thing.pk for thing in self.objects]), None)
        return {thing["id"]: thing for thing in found["objects"]}


def _photographs() -> list[bytes]:
    made = []
    for shade in (20, 120, 220):
        out = io.BytesIO()
        Image.new("RGB", (24, 16), (shade, 90, 60)).save(out, "JPEG")
        made.append(out.getvalue())
    return made


@dataclass
class Saved:
    """One operation in a tablet's outbox, with what only the simulation knows of it."""

    raw: dict[str, Any]
    made_at: Any
    steady: bool
    state: str = "unsent"


class Tablet:
    """One tablet: what it knows, its outbox, its photographs, and a clock that may be years off."""

    def __init__(self, world: World, chance: random.Random, *, old: bool) -> None:
        self.world, self.chance, self.old = world, chance, old
        self.id = str(uuid.UUID(int=chance.getrandbits(128), version=4))
        self.known = copy.deepcopy(world.pack)
        self.ahead = chance.choice([timedelta(0), timedelta(0), YEARS_OFF, -YEARS_OFF])
        self.jumped_at: Any = None
        self.sequence = 0
        self.outbox: list[Saved] = []
        self.photographs: dict[str, tuple[bytes, str]] = {}
        self.by = chance.choice(world.people)

    def append(self, kind: str, object_id: str, based_on: Any, body: Any, now: Any, **more: Any) -> Saved:
        self.sequence += 1
        version = 1 if self.old else VERSION
        if self.old and "observation" in body:
            body = {("seen" if k == "observation" else k): v for k, v in body.items()}
        raw = {
            "id": self._id(), "device": self.id, "sequence": self.sequence, "schema_version": version, "kind": kind,
            "object_id": object_id, "based_on": copy.deepcopy(based_on), "body": copy.deepcopy(body),
            "photographs": [], "made_by": self.by.pk, "wall_clock": (now + self.ahead).isoformat(), "monotonic": 5.0,
        } | more  # fmt: skip
        saved = Saved(raw, now, self.jumped_at is None)
        self.outbox.append(saved)
        return saved

    def _id(self) -> str:
        return str(uuid.UUID(int=self.chance.getrandbits(128), version=4))

    def assess(self, now: Any) -> Saved:
        """A finished assessment of some object, and what the tablet knows from then on."""
        thing = self.known[self.chance.choice(list(self.known))]
        body, made = self._told(thing)
        pictures = self._pictures(body)
        based = {
            "after": thing["place_after"], "value": thing["place"], "here": thing.get("here", thing["place"]),
            "assessments": thing["assessments"],
        }  # fmt: skip
        saved = self.append("assessment", thing["id"], based, body, now, photographs=pictures)
        if body["found"] != "missing":
            thing["place_after"] = [saved.raw["id"]]
            thing["here"] = body["place_found"] or based["here"]
        thing["parts"] += made
        if made and self.chance.random() < 0.5:
            self._change(thing, made[0], now)  # measured as soon as it is recorded
        return saved

    def _told(self, thing: dict[str, Any]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
        pick = self.chance.random()
        body: dict[str, Any] = copy.deepcopy(CLEAR) | {"observation": f"word {pick:.6f}"}
        if pick < 0.1:
            return body | {"found": "missing", "old_restoration": "", "handling": ""}, []
        if pick < 0.3:
            body |= {"found": "elsewhere", "place_found": str(self.chance.choice(self.world.places).pk)}
        made, campaigns = [], []
        if self.chance.random() < 0.35:
            campaigns = [{"id": self._id(), "date_text": "about 1950", "workshop": "", "notes": ""}]
            facts = {"part": "rim", "length_mm": self.chance.randint(20, 90)}
            made = [{"id": self._id(), "made": facts, "campaign": campaigns[0], "facts": dict(facts), "after": {}}]
        parts = [*thing["parts"], *made]
        if parts:
            earlier = {p["campaign"]["id"]: p["campaign"] for p in thing["parts"] if "campaign" in p}
            body |= {"old_restoration": "present", "parts": [self._seen(part, part in made) for part in parts]}
            body["restorations"] = [*earlier.values(), *campaigns]
        if self.chance.random() < 0.05:
            body["handling"] = ""  # a tablet that forgot to ask: held until a person looks
        return body, made

    def _seen(self, part: dict[str, Any], new: bool) -> dict[str, Any]:
        campaign = part["campaign"]["id"] if "campaign" in part else part["restoration"]
        return {
            "kind": "joint", "id": part["id"], "made": part.get("made"), "new": new, "restoration": campaign,
            "stage": self.chance.randint(0, 4), "answer": "seen", "signs": [], "evidence": [],
        }  # fmt: skip

    def _pictures(self, body: dict[str, Any]) -> list[str]:
        if self.chance.random() > 0.25:
            return []
        data = self.chance.choice(self.world.photographs)
        name = hashlib.sha256(data).hexdigest()
        self.photographs.setdefault(name, (data, "unsent"))
        body["views"] = {name: "Front"}
        return [name]

    def change(self, now: Any) -> Saved | None:
        """A lasting fact of some part."""
        owners = [(thing, part) for thing in self.known.values() for part in thing["parts"]]
        if not owners:
            return None
        own = [each for each in owners if "campaign" in each[1] or each[1]["after"]]
        return self._change(*self.chance.choice(own if own and self.chance.random() < 0.5 else owners), now)

    def _change(self, thing: dict[str, Any], part: dict[str, Any], now: Any) -> Saved:
        name, value = self.chance.choice([("length_mm", self.chance.randint(30, 34)), ("structural", True)])
        based = {"after": part["after"].get(name, []), "value": part["facts"].get(name)}
        body = {"thing": "joint", "id": part["id"], "field": name, "value": value}
        saved = self.append("fact", thing["id"], based, body, now)
        part["after"][name] = [saved.raw["id"]]
        return saved

    def change_again(self, first: Saved, now: Any) -> None:
        """The same fact once more: it was mistyped."""
        body = first.raw["body"]
        thing = self.known[first.raw["object_id"]]
        part = next(each for each in thing["parts"] if each["id"] == body["id"])
        based = {"after": [first.raw["id"]], "value": first.raw["based_on"]["value"]}
        value = self.chance.randint(30, 34) if body["field"] == "length_mm" else False
        saved = self.append("fact", thing["id"], based, body | {"value": value}, now)
        part["after"][body["field"]] = [saved.raw["id"]]

    def find(self, now: Any) -> Saved:
        number = self.chance.choice([self.world.objects[1].number, "Z 9"])
        body = {"number": number, "simple_name": "", "place": str(self.world.places[2].pk), "note": ""}
        return self.append("unlisted", self._id(), {}, body, now)

    def blunder(self, now: Any) -> Saved:
        """An operation that no server takes."""
        thing = self.world.objects[0]
        return self.append("assessment", str(thing.pk), {}, {"observation": "half"}, now)

    def unsent(self) -> list[Saved]:
        return [saved for saved in self.outbox if saved.state == "unsent"]

    def unsent_photographs(self) -> list[str]:
        named = {name for saved in self.outbox for name in saved.raw["photographs"]}
        return [n for n, (_, state) in sorted(self.photographs.items()) if state == "unsent" and n in named]

    def heard(self, results: list[services.Answer]) -> None:
        """As ``answersTo`` of the tablet's own code: only a well-formed answer to this very operation counts."""
        by_id = {answer.id: answer for answer in results}
        for saved in self.unsent():
            answer = by_id.get(saved.raw["id"])
            if answer and answer.status in SAFE:
                saved.state = "sent"
            elif answer and answer.status == "refused" and answer.reason:
                saved.state = "refused"


class History:
    """What happens under one seed."""

    def __init__(self, world: World, seed: int, *, desk: bool = True) -> None:
        self.world, self.chance = world, random.Random(seed)
        self.now = NOW
        self.tablets = [Tablet(world, self.chance, old=i == 2) for i in range(self.chance.choice([2, 2, 3]))]
        self.late: list[tuple[list[dict[str, Any]], services.Delivery]] = []
        self.taken: list[tuple[dict[str, Any], services.Delivery]] = []
        self.desk = desk and self.chance.random() < 0.4
        self.backups = self.chance.random() < 0.25
        self.refreshed = False
        self.gone: set[str] = set()
        self.surveyed_though_gone = 0
        self.network = self.chance.choice([False, False, True])  # good at times: all is sent, a fresh pack is taken
        self.drafts: list[Assessment] = []
        self.written: dict[tuple[Any, str], tuple[Any, Any]] = {}  # thing and field: what a desk wrote, over what

    def run(self) -> None:
        """Work and faults, then all faults end and every tablet sends what it has."""
        for _ in range(self.chance.randint(6, 14)):
            self.now += timedelta(minutes=self.chance.randint(1, 90))
            self._step(self.chance.choice(self.tablets))
        for operations_, delivery in self.late:
            self._take(operations_, delivery)
        for tablet in self.tablets:
            self._drain(tablet)

    def _step(self, tablet: Tablet) -> None:
        pick = self.chance.random()
        if pick < 0.5:
            self._work(tablet)
        elif pick < 0.65 and self.network:
            self._drain(tablet)
            tablet.known, self.refreshed = self.world.fresh_pack(), True
        elif pick < 0.82:
            self._send(tablet)
        elif pick < 0.88 and self.desk:
            self._at_a_desk()
        elif pick < 0.91:
            tablet.by = self.chance.choice(self.world.people)
        elif pick < 0.93:
            tablet.ahead, tablet.jumped_at = self.chance.choice([YEARS_OFF, -YEARS_OFF, timedelta(0)]), self.now
        elif pick < 0.96 and self.backups and tablet.outbox:
            self._put_back(tablet)
        elif pick < 0.98 and self.late:
            self._take(*self.late.pop(self.chance.randrange(len(self.late))))

    def _work(self, tablet: Tablet) -> None:
        pick = self.chance.random()
        if pick < 0.6:
            tablet.assess(self.now)
        elif pick < 0.92:
            first = tablet.change(self.now)
            if first and self.chance.random() < 0.4:
                tablet.change_again(first, self.now)
        elif pick < 0.96:
            tablet.find(self.now)
        else:
            tablet.blunder(self.now)

    def _at_a_desk(self) -> None:
        """Somebody with the register open: a joint measured, an object moved, withdrawn, an assessment begun."""
        pick, thing = self.chance.random(), self.chance.choice(self.world.objects)
        if pick < 0.4:
            for joint in Joint.objects.filter(restoration__object=thing).order_by("label", "pk"):
                was, joint.length_mm = joint.length_mm, float(self.chance.randint(50, 60))
                joint.save(update_fields=["length_mm"])
                self.written[joint.pk, "length_mm"] = (joint.length_mm, was)
        elif pick < 0.7:
            row, place = Object.objects.get(pk=thing.pk), self.chance.choice(self.world.places)
            self.written[row.pk, "place"] = (str(place.pk), str(row.place_id))
            Object.objects.filter(pk=thing.pk).update(place=place)
        elif pick < 0.85:
            Object.objects.filter(pk=thing.pk).update(withdrawn_at=self.now)
            self.gone.add(str(thing.pk))
        else:
            begun = an_assessment(thing, finished=False, surveyor=self.chance.choice(self.world.people))
            self.drafts.append(begun)

    def _put_back(self, tablet: Tablet) -> None:
        """The tablet comes back from a copy: it sends again what it has sent, and counts from there."""
        keep = self.chance.randrange(len(tablet.outbox)) + 1
        tablet.outbox = tablet.outbox[:keep]  # what came after is lost with it, unless it was sent
        tablet.sequence = tablet.outbox[-1].raw["sequence"]
        for saved in tablet.outbox:
            saved.state = "unsent"
        twin = copy.deepcopy(tablet.outbox[-1].raw)
        twin["wall_clock"] = (self.now + tablet.ahead).isoformat()
        self.late.append(([twin], self._delivery(tablet)))  # the same id with another body

    def _delivery(self, tablet: Tablet) -> services.Delivery:
        return services.Delivery(self.chance.choice(self.world.people), self.now, self.now + tablet.ahead)

    def _send(self, tablet: Tablet) -> None:
        """One exchange over a bad network."""
        batch = tablet.unsent()[: self.chance.choice([1, 2, 5, 20])]
        raws = [copy.deepcopy(saved.raw) for saved in batch]
        if self.chance.random() < 0.4:
            self.chance.shuffle(raws)
        fault = self.chance.choice(["", "", "", "lost", "no answer", "portal", "crash", "late", "twice"])
        delivery = self._delivery(tablet)
        if raws and fault in ("late", "twice"):
            self.late.append((raws, delivery))
        if fault in ("lost", "portal", "late"):
            return
        results = self._take(
            raws, delivery, crash_at=self.chance.randrange(len(raws) + 1) if fault == "crash" else None
        )
        if fault not in ("no answer", "crash"):
            tablet.heard(results)
        for name in tablet.unsent_photographs()[:1]:
            self._send_photograph(tablet, name, faulty=True)

    def _take(
        self, raws: list[dict[str, Any]], delivery: services.Delivery, crash_at: int | None = None
    ) -> list[services.Answer]:
        """The server at work on a batch; it may die within an operation, before that is written."""
        results: list[services.Answer] = []
        for i, raw in enumerate(raws):
            if i == crash_at:
                with_rollback(lambda raw=raw: services.apply(raw, delivery))
                return []
            results.append(services.apply(raw, delivery))
            if raw["object_id"] in self.gone and results[-1].status in ("applied", "conflict"):
                self.surveyed_though_gone += 1
            self.taken.append((raw, delivery))
        services.attach_waiting(at=delivery.at)
        return results

    def _send_photograph(self, tablet: Tablet, name: str, *, faulty: bool) -> None:
        data, _ = tablet.photographs[name]
        stand = services.stand_of(name)
        for _ in range(40):
            if stand.complete:
                tablet.photographs[name] = (data, "sent")
                return
            if faulty and self.chance.random() < 0.2:
                return
            first = stand.offset
            piece = bytearray(data[first : first + PIECE])
            if faulty and self.chance.random() < 0.15:
                piece[self.chance.randrange(len(piece))] ^= 1 << self.chance.randrange(8)
            try:
                stand = services.take_piece(
                    name, bytes(piece), offset=first, total=len(data), by=tablet.by, at=self.now
                )
            except WrongPiece as wrong:
                stand = Stand(wrong.offset, complete=False)

    def _drain(self, tablet: Tablet) -> None:
        """No faults any more: three exchanges for each batch must be enough."""
        for _ in range(3 * (1 + len(tablet.unsent()) // 20)):
            if not tablet.unsent():
                break
            tablet.heard(self._take([copy.deepcopy(s.raw) for s in tablet.unsent()[:20]], self._delivery(tablet)))
        for name in tablet.unsent_photographs():
            self._send_photograph(tablet, name, faulty=False)


def with_rollback(act: Any) -> None:
    """Do something and let the server die before it is written."""
    try:
        with transaction.atomic():
            act()
            raise Crash
    except Crash:
        pass


@contextmanager
def rolled_back() -> Iterator[None]:
    """The world as it was, to do with what one likes; afterwards it is so again."""
    shutil.rmtree(Path(settings.UPLOADS) / "tablets", ignore_errors=True)
    with mock.patch.multiple(operations, SCHEMA_VERSION=VERSION, UPGRADES={1: version_two}):
        try:
            with transaction.atomic():
                yield
                raise Crash
        except Crash:
            pass
