"""What must hold after every history, each judged apart from the code that it judges."""

from __future__ import annotations

import hashlib
import json
import random
from collections import Counter, defaultdict
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings

from media.base.models import Event
from survey.capture.db import services
from survey.models import (
    Assessment,
    Conflict,
    FieldEdit,
    Joint,
    JointSeen,
    Made,
    Object,
    ObjectPhotograph,
    Operation,
    PhotographWanted,
)
from tests.survey.capture.simulation import History, World, rolled_back


class Broken(AssertionError):
    """An invariant that does not hold, by its name."""


def check(told: History) -> None:
    """All invariants of a finished history. Raises ``Broken``."""
    rows = {(str(row.uuid), row.body_hash): row for row in Operation.objects.select_related("assessment")}
    no_loss(told, rows)
    no_double()
    attribution()
    as_it_was_said()
    need(not told.surveyed_though_gone, "held", "an object that had left the register was surveyed")
    no_silent_overwrite(told)
    desk_values_kept(told)
    flagged_parts()
    whole_photographs(told)
    times(told, rows)
    desks_left_alone(told)
    nothing_waits_in_vain()


def need(holds: Any, name: str, words: str) -> None:
    if not holds:
        raise Broken(f"{name}: {words}")


def digest(raw: Any) -> str:
    return hashlib.sha256(json.dumps(raw, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def no_loss(told: History, rows: dict[tuple[str, str], Operation]) -> None:
    """I1, I6, I8 and the draining: what a tablet saved is here as it came, or refused on both sides."""
    for tablet in told.tablets:
        for saved in tablet.outbox:
            row = rows.get((saved.raw["id"], digest(saved.raw)))
            need(row is not None, "I1", f"operation {saved.raw['sequence']} is lost")
            need(saved.state != "unsent", "liveness", f"operation {saved.raw['sequence']} does not get through")
            good = saved.raw["based_on"] != {} or saved.raw["kind"] == "unlisted"
            if row.clash:
                need(saved.state == "sent" and row.state == "held", "I8", "what came twice is not held")
                continue
            need((saved.state == "sent") == good, "I8", f"{saved.state} on the tablet")
            need((row.state == "refused") == (not good), "I8", f"{row.state} on the server: {row.reason}")
    for raw, _ in told.taken:
        need((raw["id"], digest(raw)) in rows, "I6", "an operation that was answered is gone")


def no_double() -> None:
    """I2: one effect each, and whole."""
    applied = Operation.objects.filter(state="applied", kind="assessment")
    need(all(row.assessment_id for row in applied), "I2", "taken in without an assessment")
    finished = Assessment.objects.filter(finished_at__isnull=False).count()
    need(finished == applied.count(), "I2", f"{finished} assessments of {applied.count()} operations")
    ends = Counter(Event.objects.filter(verb="finished").values_list("subject_id", flat=True))
    need(set(ends.values()) <= {1}, "I2", "an assessment was finished twice")
    facts = Operation.objects.filter(state="applied", kind="fact").count()
    need(FieldEdit.objects.filter(operation__kind="fact").count() == facts, "I2", "edits and facts differ in number")
    pairs = Counter(ObjectPhotograph.objects.values_list("assessment", "photograph"))
    need(set(pairs.values()) <= {1}, "I2", "a photograph is attached twice")
    made = Made.objects.filter(kind="joint").count()
    need(Joint.objects.filter(part="rim").count() == made, "I2", "a joint was made twice, or by half")


def attribution() -> None:
    """I9: the work is whose it was, whoever brought it."""
    for row in Operation.objects.filter(state="applied").select_related("assessment"):
        raw = json.loads(row.raw)
        need(row.made_by_id == raw["made_by"], "I9", "made by somebody else")
        if row.assessment:
            need(row.assessment.surveyor_id == raw["made_by"], "I9", "assessed by somebody else")
            ends = Event.objects.filter(subject_id=str(row.assessment_id), verb="finished")
            need([event.by_id for event in ends] == [raw["made_by"]], "I9", "the event names somebody else")


def as_it_was_said() -> None:
    """What is kept of an operation is what it says, read from it as it came."""
    for edit in FieldEdit.objects.filter(operation__isnull=False).select_related("operation"):
        raw = json.loads(edit.operation.raw)
        body, based = raw["body"], raw["based_on"]
        if raw["kind"] == "assessment":
            said = body["place_found"] if body["found"] == "elsewhere" else based["here"]
        else:
            said = body["value"] if raw["kind"] == "fact" else body["place"]
        need(edit.value == said, "I3", f"kept {edit.value} of an operation that says {said}")
        need(set(based.get("after", ())) <= set(edit.after), "I3", "what an edit was based on is lost")
    for row in Operation.objects.filter(state="applied", kind="assessment"):
        named = set(json.loads(row.raw)["photographs"])
        waits = set(PhotographWanted.objects.filter(operation=row).values_list("sha256", flat=True))
        need(waits == named, "I4", "a photograph that an assessment names is not waited for")


def no_silent_overwrite(told: History) -> None:
    """I3: values that stand side by side are exactly those of a disagreement, found by walking who knew what."""
    by_field: dict[int, list[FieldEdit]] = defaultdict(list)
    for edit in FieldEdit.objects.select_related("field", "operation").order_by("pk"):
        by_field[edit.field_id].append(edit)
    flagged = {c.field_id: c for c in Conflict.objects.filter(kind="field", state="open").select_related("field")}
    for key, edits in by_field.items():
        values = {json.dumps(each.value, sort_keys=True) for each in edits if not _overtaken(each, edits)}
        open_ = {json.dumps(side["value"], sort_keys=True) for side in flagged[key].sides} if key in flagged else set()
        need((values if len(values) > 1 else set()) == open_, "I3", f"stand {values}, flagged {open_}")
        shown = json.dumps(edits[0].field.shown, sort_keys=True)
        need(shown in values, "I3", f"shown {shown}, which does not stand")
        at_desk = [e for e in edits if e.operation is None and not _overtaken(e, edits)]
        need(not at_desk or shown == json.dumps(at_desk[-1].value, sort_keys=True), "I3", "written over a desk's value")
    if not told.desk:
        _rows_say_what_is_shown(by_field)


def _overtaken(one: FieldEdit, edits: list[FieldEdit]) -> bool:
    """Whether somebody who knew this edit made another."""
    for other in edits:
        if str(one.uuid) in other.after:
            return True
        mine, theirs = one.operation, other.operation
        if mine and theirs and mine.device_id == theirs.device_id and (theirs.sequence or 0) > (mine.sequence or 0):
            return True
    return False


def _rows_say_what_is_shown(by_field: dict[int, list[FieldEdit]]) -> None:
    for edits in by_field.values():
        field = edits[0].field
        if field.kind == "object":
            place = Object.objects.get(pk=field.thing).place_id
            now: Any = str(place) if place else None
        else:
            now = getattr(Joint.objects.get(pk=field.thing), field.name)
        need(now == field.shown, "I3", f"{field.name} says {now}, shown is {field.shown}")


def desk_values_kept(told: History) -> None:
    """I3 for the desk: what was written there still stands in its row, or is kept beside what came."""
    for (thing, name), (value, was) in told.written.items():
        model, column = (Object, "place_id") if name == "place" else (Joint, "length_mm")
        now = model.objects.values_list(column, flat=True).get(pk=thing)
        kept = set(FieldEdit.objects.filter(field__thing=thing, field__name=name).values_list("value", flat=True))
        seen = FieldEdit.objects.filter(field__thing=thing, field__name=name, operation__isnull=False)
        known = {json.loads(edit.operation.raw)["based_on"].get("value") for edit in seen.select_related("operation")}
        same = value == was or value in _before(told, thing, name) or value in known
        need(same or value in kept or value in (now, str(now)), "I3", f"what a desk wrote of {name} is gone")


def _before(told: History, thing: Any, name: str) -> set[Any]:
    """What tablets took along: a desk that writes that again cannot be told from one that wrote nothing."""
    packed = told.world.pack.values()
    places = {found["place"] for found in packed if found["id"] == str(thing)}
    return places | {p["facts"].get(name) for found in packed for p in found["parts"] if p["id"] == str(thing)}


def flagged_parts() -> None:
    """I3 for parts: pairs of assessments, neither knowing the other, that contradict each other on what is there."""
    told = []
    for row in Operation.objects.filter(state="applied", kind="assessment").select_related("assessment"):
        raw = json.loads(row.raw)
        says = "new" if any(p["new"] for p in raw["body"]["parts"]) else raw["body"]["old_restoration"]
        told.append((row, raw, says))
    expected = set()
    for i, (one, raw_one, says_one) in enumerate(told):
        for two, raw_two, says_two in told[i + 1 :]:
            known = str(one.assessment_id) in raw_two["based_on"]["assessments"]
            known |= str(two.assessment_id) in raw_one["based_on"]["assessments"]
            differ = {says_one, says_two} in ({"new"}, {"new", "none"})
            if one.object_id == two.object_id and one.device_id != two.device_id and differ and not known:
                expected.add(frozenset((str(one.uuid), str(two.uuid))))
    found = {frozenset(s["operation"] for s in c.sides) for c in Conflict.objects.filter(kind="parts")}
    need(found == expected, "I3", f"parts: {len(expected)} contradictions, {len(found)} flagged")


def whole_photographs(told: History) -> None:
    """I4: what is attached is what was taken, byte for byte, and nothing that a tablet let go is missing."""
    kept = {hashlib.sha256(data).hexdigest(): data for data in told.world.photographs}
    for row in ObjectPhotograph.objects.select_related("photograph"):
        path = next((Path(settings.MEDIA_ROOT) / "original").rglob(f"{row.photograph_id}*"))
        need(path.read_bytes() == kept.get(row.photograph_id), "I4", "a photograph has other bytes")
    for tablet in told.tablets:
        for name, (_, state) in tablet.photographs.items():
            need(state == "sent" or name not in tablet.unsent_photographs(), "liveness", "a photograph does not arrive")
    wanted = PhotographWanted.objects.filter(attached_at=None)
    sent = {n for tablet in told.tablets for n, (_, state) in tablet.photographs.items() if state == "sent"}
    need(not any(row.sha256 in sent for row in wanted), "I4", "a photograph is here and not attached")


def times(told: History, rows: dict[tuple[str, str], Operation]) -> None:
    """I7: looks follow each other as they arrived and, of one tablet, as they were made; steady clocks are mended."""
    for tablet in told.tablets:
        steady = tablet.jumped_at is None
        for saved in tablet.outbox:
            row = rows[saved.raw["id"], digest(saved.raw)]
            if steady and row.happened_at:
                off = abs(row.happened_at - saved.made_at)
                need(off < timedelta(seconds=2), "I7", f"a steady clock gave a time that is {off} off")
    looks = Operation.objects.filter(state="applied", kind="assessment").select_related("assessment")
    by_object: dict[Any, list[Operation]] = defaultdict(list)
    for row in looks.order_by("assessment__started_at"):
        by_object[row.object_id].append(row)
    for seen in by_object.values():
        for device in {row.device_id for row in seen}:
            mine = [row.sequence for row in seen if row.device_id == device and not row.clash]
            need(mine == sorted(mine), "I7", "looks of one tablet out of its order")


def desks_left_alone(told: History) -> None:
    for draft in told.drafts:
        now = Assessment.objects.filter(pk=draft.pk).first()
        same = now and (now.finished_at, now.observation, now.handling) == (None, "", "")
        need(same, "I2", "an assessment that is open at a desk was touched")
    unfinished = Assessment.objects.filter(finished_at=None).count()
    need(unfinished == len(told.drafts), "I2", "an assessment is half applied")


def nothing_waits_in_vain() -> None:
    known = Made.objects.values("client_id")
    stuck = Operation.objects.filter(state="held", clash=False, waits_for__in=known).count()
    need(not stuck, "liveness", f"{stuck} operations wait for what is here")


def state_of_all(*, in_order: bool) -> Any:
    """What the server says in the end, in the tablets' own names, without what only the order of arrival gives."""
    names = {made.row_id: str(made.client_id) for made in Made.objects.all()}
    seen: dict[Any, list[Any]] = defaultdict(list)
    for look in JointSeen.objects.order_by("joint_id"):
        seen[look.assessment_id].append((names.get(look.joint_id, str(look.joint_id)), look.stage))
    looks = [
        (str(row.uuid), row.assessment.handling, row.assessment.found, sorted(seen[row.assessment_id]))
        for row in Operation.objects.filter(state="applied", assessment__isnull=False)
        .select_related("assessment")
        .order_by("object_id", "assessment__started_at")
        if row.assessment
    ]
    return {
        "looks": looks if in_order else sorted(looks),
        "states": sorted(Operation.objects.values_list("body_hash", "state")),
        "edits": sorted((str(e.uuid), json.dumps(e.value)) for e in FieldEdit.objects.exclude(operation=None)),
        "flags": sorted(_flag(c) for c in Conflict.objects.filter(state="open")),
        "joints": sorted((names.get(j.pk, str(j.pk)), j.part) for j in Joint.objects.all()),
    }


def _flag(conflict: Conflict) -> Any:
    return (conflict.kind, str(conflict.object_id), sorted(json.dumps(side["value"]) for side in conflict.sides))


def other_order(taken: list[Any], seed: int) -> tuple[Any, bool]:
    """Take the same operations in another order, or under other clocks; the state that this comes to."""
    chance = random.Random(seed)
    clocks = chance.random() < 0.5
    first = {digest(raw): (raw, delivery) for raw, delivery in reversed(taken)}
    once = [first[key] for key in dict.fromkeys(digest(raw) for raw, _ in taken)]
    if not clocks:
        chance.shuffle(once)
    for raw, delivery in once:
        ahead = timedelta(days=chance.choice([-3000, 0, 3000])) if clocks else timedelta(0)
        services.apply(raw, services.Delivery(delivery.by, delivery.at, delivery.sent_at + ahead))
    return state_of_all(in_order=clocks), clocks


def run(world: World, seed: int) -> None:
    """One history with all its checks. Raises ``Broken``.

    The other order is tried only where nobody wrote at a desk in between, no tablet was put back from a copy and none
    was given a fresh pack: what comes of those depends on what was first, or names rows of that run.
    """
    with rolled_back():
        told = History(world, seed)
        told.run()
        check(told)
        was = {in_order: state_of_all(in_order=in_order) for in_order in (True, False)}
    if told.desk or told.backups or told.refreshed:
        return
    with rolled_back():
        now, clocks = other_order(told.taken, seed)
    need(now == was[clocks], "I7" if clocks else "I5", _difference(was[clocks], now))


def _difference(was: dict[str, Any], now: dict[str, Any]) -> str:
    return "; ".join(f"{name}: {was[name]} became {now[name]}" for name in was if was[name] != now[name])[:1500]
