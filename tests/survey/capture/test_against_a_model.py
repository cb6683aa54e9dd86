"""Edits of lasting facts against a model that knows nothing of tables: whatever comes, in whatever order."""

from __future__ import annotations

import copy
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from media.base.models import Role
from survey.capture.db import services
from survey.models import Conflict, FieldEdit, Joint, Operation
from tests.builders import NOW, a_person, an_object
from tests.survey.capture.tablets import Tablet

VALUES = st.sampled_from([20.0, 30.0, 40.0])
TABLETS, JOINTS = st.integers(0, 2), st.integers(0, 1)


@dataclass
class Told:
    """An edit as the model sees it; ``place`` is tablet and order, None at a desk."""

    id: str
    value: float
    known: frozenset[str]
    place: tuple[int, int] | None = None
    base: float = 80.0
    desk: bool = False


@dataclass
class Fact:
    """One fact: all edits, what its row says, and what was last written to it from here."""

    now: float = 80.0
    written: float = 80.0
    edits: list[Told] = field(default_factory=list)

    def standing(self) -> list[Told]:
        def overtaken(one: Told) -> bool:
            later = (o for o in self.edits if o.place and one.place and o.place[0] == one.place[0])
            return any(one.id in o.known for o in self.edits) or any(o.place[1] > one.place[1] for o in later)  # type: ignore[index]  # both said

        return [one for one in self.edits if not overtaken(one)]

    def values(self) -> set[float]:
        return {one.value for one in self.standing()}

    def note_desk(self, told: Told) -> None:
        """A desk wrote if the row says neither what was last written from here nor, at first, what the tablet knew."""
        if not self.edits:
            self.written = told.base
        if self.now != self.written:
            known = frozenset(one.id for one in self.standing())
            self.edits.append(Told(f"desk {len(self.edits)}", self.now, known, desk=True))

    def arrive(self, told: Told) -> None:
        self.note_desk(told)
        desks = {one.id for one in self.edits if one.place is None and one.desk and one.value == told.base}
        told.known |= desks
        self.edits.append(told)
        stands = self.standing()
        if len(self.values()) == 1:
            self.now = stands[0].value
        elif told in stands and all(one.place for one in stands):
            self.now = told.value
        self.written = self.now


class Sync(RuleBasedStateMachine):
    """Three tablets, two joints, a desk, and somebody who decides."""

    def __init__(self) -> None:
        super().__init__()
        self.around = transaction.atomic()
        self.around.__enter__()
        self.people = [a_person(role=Role.SURVEYOR) for _ in range(3)]
        self.thing = an_object(joints=2)
        self.joints = list(Joint.objects.filter(restoration__object=self.thing).order_by("label"))
        self.tablets = [Tablet(person) for person in self.people]
        self.facts = [Fact(), Fact()]
        self.made: list[tuple[dict[str, Any], int, Told]] = []
        self.arrived: set[str] = set()
        self.clashes = 0
        self.known: dict[tuple[int, int], list[str]] = defaultdict(list)
        self.base: dict[tuple[int, int], float] = defaultdict(lambda: 80.0)

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.around.__exit__(None, None, None)

    @rule(t=TABLETS, j=JOINTS, value=VALUES)
    def edit(self, t: int, j: int, value: float) -> None:
        after, base = self.known[t, j], self.base[t, j]
        raw = self.tablets[t].changes(self.joints[j], "length_mm", value, was=base, after=after, thing=self.thing)
        self.made.append((raw, j, Told(raw["id"], value, frozenset(after), (t, raw["sequence"]), base)))
        self.known[t, j] = [raw["id"]]

    @precondition(lambda self: self.made)
    @rule(which=st.integers(0, 50))
    def deliver(self, which: int) -> None:
        raw, j, told = self.made[which % len(self.made)]
        answer = self._apply(raw)
        if raw["id"] in self.arrived:
            assert answer.status == "already had"
            return
        self.arrived.add(raw["id"])
        self.facts[j].arrive(told)
        named = told.id in {one.id for one in self.facts[j].standing()}
        if len(self.facts[j].values()) == 1:
            assert answer.status == "applied"
        elif answer.status == "conflict":
            assert named

    def _apply(self, raw: dict[str, Any]) -> services.Answer:
        return services.apply(copy.deepcopy(raw), services.Delivery(self.people[0], NOW, NOW))

    @rule(t=TABLETS, j=JOINTS)
    def fresh_pack(self, t: int, j: int) -> None:
        """Only with nothing of its own on the way, as the tablet does it."""
        mine = {raw["id"] for raw, _, told in self.made if told.place and told.place[0] == t}
        if not mine <= self.arrived:
            return
        desks = [one for one in self.facts[j].edits if one.place is None]
        real = list(FieldEdit.objects.filter(field__thing=self.joints[j].pk, operation=None).order_by("pk"))
        assert len(desks) == len(real)
        for one, edit in zip(desks, real, strict=True):
            self._rename(self.facts[j], one, str(edit.uuid))
        self.known[t, j] = [one.id for one in self.facts[j].standing()]
        self.base[t, j] = self.facts[j].now

    def _rename(self, fact: Fact, one: Told, name: str) -> None:
        """A desk's edit is named by the server; the model takes the name over."""
        for other in fact.edits:
            if one.id in other.known:
                other.known = (other.known - {one.id}) | {name}
        one.id = name

    @rule(j=JOINTS, value=VALUES)
    def write_at_a_desk(self, j: int, value: float) -> None:
        Joint.objects.filter(pk=self.joints[j].pk).update(length_mm=value)
        self.facts[j].now = value

    @precondition(lambda self: any(len(fact.values()) > 1 for fact in self.facts))
    @rule(j=JOINTS, which=st.integers(0, 5))
    def decide(self, j: int, which: int) -> None:
        fact = self.facts[j]
        conflict = Conflict.objects.filter(field__thing=self.joints[j].pk, state="open").first()
        assert (conflict is not None) == (len(fact.values()) > 1)
        if conflict is None:
            return
        side = conflict.sides[which % len(conflict.sides)]
        services.decide_field(conflict, side["edit"], by=self.people[1], at=NOW)
        known = frozenset(one.id for one in fact.edits)
        fact.edits.append(Told(f"desk {len(fact.edits)}", side["value"], known))
        fact.now = fact.written = side["value"]

    @precondition(lambda self: self.arrived)
    @rule(which=st.integers(0, 50))
    def send_another_body_under_a_known_id(self, which: int) -> None:
        raw = copy.deepcopy(self.made[which % len(self.made)][0])
        if raw["id"] not in self.arrived:
            return
        raw["monotonic"] = 77.0
        new = not Operation.objects.filter(uuid=raw["id"], clash=True).exists()
        assert self._apply(raw).status == "held"
        self.clashes += new

    @invariant()
    def the_rows_say_what_the_model_says(self) -> None:
        for joint, fact in zip(self.joints, self.facts, strict=True):
            assert Joint.objects.get(pk=joint.pk).length_mm == fact.now
            told = Conflict.objects.filter(field__thing=joint.pk, state="open").first()
            assert ({side["value"] for side in told.sides} if told else set()) == (
                fact.values() if len(fact.values()) > 1 else set()
            )
        assert Operation.objects.filter(clash=True).count() == self.clashes
        assert Operation.objects.filter(state="applied").count() == len(self.arrived)


@pytest.mark.django_db
def test_any_course_of_edits_and_deliveries_ends_as_the_model_says():
    run_state_machine_as_test(  # type: ignore[no-untyped-call]  # hypothesis gives it no types
        Sync,
        settings=settings(
            max_examples=60, stateful_step_count=25, deadline=None, database=None, derandomize=True,
            suppress_health_check=list(HealthCheck),
        ),
    )  # fmt: skip
