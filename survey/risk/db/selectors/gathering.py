"""All that scoring needs of some objects, read in a fixed number of queries and laid out as arrays."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.condition.db import selectors as condition
from survey.condition.db.models import Handling, Visit
from survey.condition.db.selectors import JointRow, JointStates, VisitRow
from survey.register.db.models import ChecklistEntry, Exhibition, Object
from survey.risk.consequence import loss_shares
from survey.risk.db.selectors.climate import Kept, kept_at
from survey.risk.db.selectors.findings import Shop, found_on, object_key, shops_of, years_of
from survey.risk.db.selectors.oddities import oddities
from survey.risk.identification import coded, joint_posteriors
from survey.risk.inputs import JointInputs
from survey.risk.load import BODY_DENSITIES, load_inputs, part_code
from survey.risk.moves import planned_moves
from survey.risk.parameters import Parameters
from survey.risk.reasons import JointLabels
from survey.risk.urgency import JointSigns, ObjectUse
from survey.risk.whole import Told

YEAR = 365.25
Floats = NDArray[np.float64]


class Ahead(NamedTuple):
    """A milestone that scores look ahead to."""

    kind: str
    name: str
    date: date


@dataclass(frozen=True)
class Setting:
    """What a run looks ahead to, and what it assumes."""

    as_of: date
    ahead: tuple[Ahead, ...]
    parameters: Parameters


@dataclass(frozen=True)
class ObjectFacts:
    """What is known of one object, beside its joints."""

    id: UUID
    significance: int | None
    importance: int | None
    use: str
    disfigured: bool | None
    told_not_to_lift: datetime | None


@dataclass(frozen=True)
class Gathered:
    """Joints [j] and objects [n] of one batch; ``joints[j]`` belongs to ``facts[inputs.object_index[j]]``."""

    facts: list[ObjectFacts]
    joints: list[JointRow]
    inputs: JointInputs
    labels: JointLabels
    signs: JointSigns
    use: ObjectUse
    loss: Floats
    warnings: dict[UUID, list[str]]
    rounds: NDArray[np.int64]
    codes: NDArray[np.int64]
    restoration: NDArray[np.int64]
    years: Floats
    shops: list[Shop | None]

    def told(self, number: Mapping[Shop, int]) -> Told:
        """What the core scores from; workshops and periods that ``number`` does not hold are taken as not known."""
        return Told(
            inputs=self.inputs,
            rounds=self.rounds,
            codes=self.codes,
            restoration=self.restoration,
            workshop=np.array([-1 if shop is None else number.get(shop, -1) for shop in self.shops], dtype=np.int64),
            years=self.years,
            keys=np.array([object_key(fact.id) for fact in self.facts], dtype=np.uint64),
            loss=self.loss[:, 1],
        )


def gather(objects: Sequence[UUID], exhibition: Exhibition | None, setting: Setting) -> Gathered:
    """Everything about ``objects`` that the scoring reads. A fixed number of queries."""
    states = condition.joint_states(objects)
    rows = {row["id"]: row for row in _object_rows(objects)}
    facts = _facts(list(rows), rows, exhibition)
    place = {fact.id: index for index, fact in enumerate(facts)}
    index = np.array([place[joint.object_id] for joint in states.joints], dtype=np.int64)
    kept = kept_at([rows[joint.object_id]["place_id"] for joint in states.joints], setting.parameters)
    today = np.datetime64(setting.as_of, "D")
    looks = _by_joint(states.visits)
    warnings = defaultdict(list, oddities(states.joints, rows, looks, setting.as_of))
    parts = [part_code(joint.part) for joint in states.joints]
    table, prior = setting.parameters.table, setting.parameters.class_prior
    ago, seen, rounds = _visits(states.joints, looks, kept, today)
    years = _calendar_age(states.joints, setting.as_of)
    found = found_on(states, table, warnings)
    restoration, firsts = _numbered(states.joints)
    dates = years_of(firsts)
    moves = np.array([planned_moves(fact.use, [a.kind for a in setting.ahead]) for fact in facts])
    moves = moves.reshape(len(facts), len(setting.ahead), -1)
    inputs = JointInputs(
        object_count=len(facts),
        object_index=index,
        class_probabilities=joint_posteriors(prior, found, table=table, dates=dates[restoration]),
        age_now=kept.years(_made_on(years, today), today),
        visit_ago=ago,
        visit_stages=seen,
        rate_per_year=kept.rates(_span_ahead(len(states.joints), setting))[:, 0],
        years_ahead=np.tile(_years_ahead(setting), (len(states.joints), 1)),
        moves=moves[index],
        load=_load(states.joints, parts, rows),
        rate_factor=_rate_factors(states.joints, rows, setting.parameters),
    )
    signs = _signs(states, index, inputs.last_seen)
    return Gathered(
        facts=facts,
        joints=states.joints,
        inputs=inputs,
        labels=JointLabels(
            part=[joint.part or f"joint {joint.label}" for joint in states.joints],
            basis=["none"] * len(states.joints),
            years_old=[None if np.isnan(value) else float(value) for value in years],
            seen_share=[None if np.isnan(share) else float(share) for share in signs.lifted_share],
            structural=[joint.structural for joint in states.joints],
        ),
        signs=signs,
        use=_use(facts),
        loss=loss_shares(parts, _flags(joint.structural for joint in states.joints)),
        warnings=dict(warnings),
        rounds=rounds,
        codes=coded(found, table),
        restoration=restoration,
        years=dates,
        shops=shops_of(firsts, dates),
    )


def _object_rows(objects: Sequence[UUID]) -> list[dict[str, Any]]:
    fields = ("id", "significance", "body", "height_mm", "width_mm", "depth_mm", "diameter_mm", "place_id")
    return list(Object.objects.filter(pk__in=objects).order_by("pk").values(*fields))


def _facts(ids: list[UUID], rows: Mapping[UUID, Mapping[str, Any]], exhibition: Exhibition | None) -> list[ObjectFacts]:
    """Checklist and last assessment of each object. Two queries."""
    listed = {}
    if exhibition:
        entries = ChecklistEntry.objects.filter(exhibition=exhibition, object__in=ids, removed_at=None)
        listed = {row[0]: row[1:] for row in entries.values_list("object_id", "importance", "use")}
    last: dict[UUID, tuple[str, str, datetime | None]] = {}
    looks = condition.standing().filter(object__in=ids).order_by("started_at", "finished_at")
    for pk, disfigurement, handling, at in looks.values_list("object_id", "disfigurement", "handling", "started_at"):
        last[pk] = (disfigurement, handling, at)
    facts = []
    for pk in ids:
        importance, use = listed.get(pk, (None, ""))
        disfigurement, handling, looked = last.get(pk, ("", "", None))
        graded = disfigurement in {"good", "fair", "poor", "unacceptable"}
        facts.append(
            ObjectFacts(
                id=pk,
                significance=rows[pk]["significance"],
                importance=importance,
                use=use,
                disfigured=disfigurement in {"poor", "unacceptable"} if graded else None,
                told_not_to_lift=looked if handling == Handling.DO_NOT_LIFT else None,
            )
        )
    return facts


def _span_ahead(joints: int, setting: Setting) -> NDArray[np.datetime64]:
    """The days [j, 1, 2] over which the rate from now on is taken: to the last milestone, a year at least."""
    end = max(setting.ahead[-1].date, setting.as_of + timedelta(days=365))
    return np.tile(np.array([setting.as_of, end], dtype="datetime64[D]"), (joints, 1, 1))


def _made_on(years: Floats, today: np.datetime64) -> NDArray[np.datetime64]:
    """The day on which each joint is taken to have been made; NaT where its age is not known."""
    days = np.nan_to_num(years * YEAR).round().astype("timedelta64[D]")
    return np.where(np.isnan(years), np.datetime64("NaT", "D"), today - days)


def _years_ahead(setting: Setting) -> Floats:
    """Calendar years to each milestone; one that has passed is now."""
    return np.array([max(0.0, (ahead.date - setting.as_of).days / YEAR) for ahead in setting.ahead])


def _by_joint(visits: Sequence[VisitRow]) -> dict[UUID, list[VisitRow]]:
    found: dict[UUID, list[VisitRow]] = defaultdict(list)
    for visit in visits:
        if visit.stage is not None:
            found[visit.joint_id].append(visit)
    return found


def _visits(
    joints: Sequence[JointRow], visits: Mapping[UUID, Sequence[VisitRow]], kept: Kept, today: np.datetime64
) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Equivalent years from each look to now, and the stage seen [j, v], oldest first; the same of rounds alone."""
    width = max((len(looks) for looks in visits.values()), default=0) or 1
    days = np.full((len(joints), width), np.datetime64("NaT", "D"))
    seen = np.full((len(joints), width), -1, dtype=np.int64)
    rounds = seen.copy()
    for row, joint in enumerate(joints):
        for column, look in enumerate(visits.get(joint.id, ())):
            days[row, column] = look.at.date()
            seen[row, column] = -1 if look.stage is None else look.stage
            if look.visit == Visit.ROUND:
                rounds[row, column] = seen[row, column]
    return kept.years(days, today), seen, rounds


def _numbered(joints: Sequence[JointRow]) -> tuple[NDArray[np.int64], list[JointRow]]:
    """The restoration of each joint as a number from 0 in order of appearance, and a joint of each."""
    number: dict[UUID, int] = {}
    firsts: list[JointRow] = []
    found = np.empty(len(joints), dtype=np.int64)
    for row, joint in enumerate(joints):
        if joint.restoration_id not in number:
            number[joint.restoration_id] = len(number)
            firsts.append(joint)
        found[row] = number[joint.restoration_id]
    return found, firsts


def _calendar_age(joints: Sequence[JointRow], as_of: date) -> Floats:
    """Years since each joint was made; nan where not known, and so for a date yet to come."""
    ages = np.full(len(joints), np.nan)
    for row, joint in enumerate(joints):
        known = [year for year in (joint.year_earliest, joint.year_latest) if year is not None]
        if not known:
            continue
        age = as_of.year - sum(known) / len(known)
        ages[row] = age if age >= 0 else np.nan
    return ages


def _rate_factors(joints: Sequence[JointRow], rows: Mapping[UUID, Mapping[str, Any]], parameters: Parameters) -> Floats:
    """What is known of each joint to make it pass faster through its stages than its adhesive alone would."""
    holds = {
        "load_bearing": [joint.structural is True for joint in joints],
        "porous_body": [rows[joint.object_id]["body"] == "earthenware" for joint in joints],
    }
    factors = np.ones(len(joints))
    for code, found in holds.items():
        factors[np.array(found, dtype=np.bool_)] *= parameters.covariates[code]
    return factors


def _load(joints: Sequence[JointRow], parts: list[str], rows: Mapping[UUID, Mapping[str, Any]]) -> Any:
    def size(*names: str) -> Floats:
        values = ([rows[joint.object_id][name] for name in names] for joint in joints)
        return np.array(
            [max((v for v in found if v is not None), default=np.nan) for found in values], dtype=np.float64
        )

    def measured(name: str) -> Floats:
        return np.array([np.nan if (v := getattr(joint, name)) is None else v for joint in joints], dtype=np.float64)

    bodies = [rows[joint.object_id]["body"] for joint in joints]
    return load_inputs(
        np.array(parts, dtype=np.str_),
        size("height_mm"),
        size("width_mm", "depth_mm", "diameter_mm"),
        body=np.array([body if body in BODY_DENSITIES else "unknown" for body in bodies], dtype=np.str_),
        mass_kg=measured("held_mass_kg"),
        length_mm=measured("length_mm"),
        thickness_mm=measured("wall_mm"),
        lever_mm=measured("lever_mm"),
    )


def _flags(answers: Any) -> Floats:
    """1 yes, 0 no, nan not known."""
    return np.array([np.nan if answer is None else float(answer) for answer in answers], dtype=np.float64)


def _signs(states: JointStates, index: NDArray[np.int64], last_seen: NDArray[np.int64]) -> JointSigns:
    """Signs at the last look, as the urgent rules read them; what nobody recorded is not known."""
    present: dict[UUID, dict[str, int | None]] = defaultdict(dict)
    for sign in states.signs:
        present[sign.joint_id][sign.code] = sign.extent_percent
    found = [present.get(joint.id, {}) for joint in states.joints]

    def any_of(*codes: str) -> Floats:
        return np.array([1.0 if any(code in signs for code in codes) else np.nan for signs in found])

    extents = [signs.get("edge_lifting") for signs in found]
    return JointSigns(
        object_index=index,
        stage=last_seen,
        lifted_share=np.array([np.nan if extent is None else extent / 100 for extent in extents], dtype=np.float64),
        structural=_flags(joint.structural for joint in states.joints),
        part_detached=any_of("detached"),
        moves_under_touch=any_of("movement", "gap"),
        flaking_or_salts=any_of("flaking", "salts"),
        shrunken_or_peeling=any_of("shrinkage", "edge_lifting"),
        brittle_or_yellowed=any_of("yellowing", "crazing", "powdering"),
    )


def _use(facts: Sequence[ObjectFacts]) -> ObjectUse:
    return ObjectUse(
        travels=_flags(fact.use == "travels" for fact in facts),
        hung_by_restored_part=np.full(len(facts), np.nan),
        on_show=_flags(bool(fact.use) for fact in facts),
        disfiguring_restoration=_flags(fact.disfigured for fact in facts),
    )
