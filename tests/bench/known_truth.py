"""Made-up collections whose truth is known: adhesives, stages and failures played out event by event.

Nothing here calls the scoring: joints wait out their stages one after another, surveyors misread them, moves shake
them. What the scoring is then told is only what a department would know. The truth is drawn from the same beliefs that
the scoring starts from, but for what departments get wrong: looks at neighbouring joints repeat each other, and a
restoration's workshop is not always known.
"""

from dataclasses import dataclass

import numpy as np

from survey.risk.adhesives import sound_strengths_pa, speeds
from survey.risk.ageing import SITE_CLIMATES
from survey.risk.bonds import Bonds
from survey.risk.consequence import loss_shares
from survey.risk.draws import Doubt
from survey.risk.identification import CLASSES, DEFAULT_PRIOR, NITRATE, coded, date_likelihood
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.load import MOVES, failure_chance, load_inputs
from survey.risk.matrices import transition_matrix
from survey.risk.pace import class_evidence, years_at
from survey.risk.stages import OPEN, with_slips
from survey.risk.workshops import Findings, Sharing, governing, identify

NOW, AHEAD = 2020, 0.8  # year of the survey; years to opening
CHOSEN, SHARING, DOUBT = Assumptions(), Sharing(), Doubt()
PARTS = ("rim", "wall", "neck", "handle", "spout", "lid", "foot")
OFTEN = (0.35, 0.25, 0.1, 0.1, 0.05, 0.1, 0.05)
SITES, SITE_SHARES = ("controlled", "heated", "unheated", "cellar", "attic"), (0.3, 0.3, 0.2, 0.1, 0.1)
RECORDED = 0.2  # of restorations whose adhesive is named in a written record
PLANS = np.array([[0, 0, 0, 0], [3, 1, 0, 0], [3, 1, 2, 0], [4, 1, 1, 1]], dtype=np.float64)
assert len(MOVES) == PLANS.shape[1]


@dataclass
class Parameters:
    """What nobody is told and no look can show outright: how fast each class fails [c], the habit of each workshop [w],
    which workshop each restoration is of [r], and how fast each joint passes through its stages [j]."""

    speed: np.ndarray
    habits: np.ndarray
    shop: np.ndarray
    pace: np.ndarray


@dataclass
class Collection:
    """What is true and what is told. Joints [j], objects [n]."""

    owner: np.ndarray
    restoration: np.ndarray
    workshop: np.ndarray  # as told, -1 not known
    year: np.ndarray  # [r]
    climate: np.ndarray  # [n], equivalent years in a year
    kind: np.ndarray  # true class
    stage: np.ndarray  # true stage today
    fails: np.ndarray  # [j], open by itself or given in a move before opening
    chance: np.ndarray  # [n], of any joint failing, to one who knows class, pace, stage, strength and handling
    part: np.ndarray
    load: object
    moves: np.ndarray  # [n, k]
    visit_ago: np.ndarray  # [j, 2], years; nan where there was none
    visit_stage: np.ndarray
    evidence: list[dict[str, str]]
    objects: int
    true: "Parameters"
    workshops: np.ndarray | None = None  # habits as last identified

    def inputs(self) -> JointInputs:
        """What the scoring is given, adhesives left open."""
        joints = self.owner.size
        rate = self.climate[self.owner]
        return JointInputs(
            object_count=self.objects,
            object_index=self.owner,
            class_probabilities=np.tile(DEFAULT_PRIOR, (joints, 1)),
            age_now=(NOW - self.year[self.restoration]) * rate,
            visit_ago=self.visit_ago * rate[:, None],
            visit_stages=self.visit_stage,
            rate_per_year=rate,
            years_ahead=np.full((joints, 1), AHEAD),
            moves=self.moves[self.owner][:, None, :],
            load=self.load,
            rate_factor=np.ones(joints),
        )

    def identified(self, years: float = 49.0) -> tuple[JointInputs, Bonds]:
        """The scoring's input with adhesives weighed and shared, cellulose nitrate joints taken to live ``years``."""
        codes = coded(self.evidence, DEFAULT_TABLE)
        findings = Findings.of(
            codes, DEFAULT_TABLE, restoration=self.restoration, workshop=self.workshop,
            years=np.stack([self.year, self.year], axis=1), prior=DEFAULT_PRIOR, sharing=SHARING,
        )  # fmt: skip
        aged = class_evidence(self.inputs(), SHARING, CHOSEN, years=years)
        found = identify(findings, SHARING, visits=aged)
        governs = governing(found, np.arange(self.owner.size))
        bonds = Bonds.of(found, governs, self.restoration, SHARING, findings=findings)
        self.workshops = found.workshops
        return self.inputs().changed(class_probabilities=governs.classes), bonds

    def looked_at(self, objects: np.ndarray, rng: np.random.Generator) -> "Collection":
        """The same once these objects are looked at today: stages as a surveyor reads them, and how joints look."""
        rows = np.flatnonzero(np.isin(self.owner, objects))
        stages, evidence = self.visit_stage.copy(), list(self.evidence)
        ago = self.visit_ago.copy()
        stages[rows, 1], ago[rows, 1] = read(self.stage[rows], rng), 0.0
        for row in rows:
            evidence[row] = {**evidence[row], **looks(self.kind[[row]], np.zeros(1, int), rng)[0]}
        return Collection(**{**self.__dict__, "visit_stage": stages, "visit_ago": ago, "evidence": evidence})


def read(stages: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Stages as surveyors record them."""
    error = with_slips(CHOSEN.misclassification)
    return np.array([rng.choice(OPEN + 1, p=error[stage]) for stage in stages], dtype=np.int64)


def looks(kind: np.ndarray, restoration: np.ndarray, rng: np.random.Generator) -> list[dict[str, str]]:
    """How joints look, half of the time as the joint before in the same restoration and of the same adhesive."""
    found: list[dict[str, str]] = []
    table = DEFAULT_TABLE.kinds["look"]
    for j, c in enumerate(kind):
        alike = j > 0 and restoration[j - 1] == restoration[j] and kind[j - 1] == c and rng.random() < 0.5
        found.append(
            found[-1] if alike else {"look": table.outcomes[rng.choice(len(table.outcomes), p=table.chances[:, c])]}
        )
    return found


def make(rng: np.random.Generator, *, objects: int = 120, surveyed: float = 0.6, workshops: int = 5) -> Collection:
    """One collection and its truth."""
    years = float(years_at(CHOSEN, np.array([rng.uniform(0.01, 0.99)]))[0])
    world_speed = speeds() * np.exp(
        DOUBT.speed * rng.standard_normal(len(CLASSES)) * (np.arange(len(CLASSES)) != NITRATE)
    )
    world_strength = sound_strengths_pa() * np.exp(DOUBT.strength * rng.standard_normal(len(CLASSES)))
    scatter = CHOSEN.scatter * np.exp(DOUBT.scatter * rng.standard_normal())
    habits = rng.choice(len(CLASSES), workshops, p=DEFAULT_PRIOR)
    owner_of = np.repeat(np.arange(objects), rng.choice([1, 2], objects, p=[0.8, 0.2]))
    shop, year, of = _restorations(owner_of.size, habits, rng)
    restoration = np.repeat(np.arange(owner_of.size), rng.integers(1, 5, owner_of.size))
    owner, joints = owner_of[restoration], restoration.size
    spread = DEFAULT_PRIOR * date_likelihood(year, year)
    spread = spread / spread.sum(axis=1, keepdims=True)
    follows = rng.random(joints) < SHARING.within_restoration
    apart = np.array([rng.choice(len(CLASSES), p=spread[r]) for r in restoration])
    kind = np.where(follows, of[restoration], apart)
    climate = rng.choice(np.array([SITE_CLIMATES[code].rate() for code in SITES]), objects, p=SITE_SHARES)
    frailty = np.exp(SHARING.frailty * rng.standard_normal(owner_of.size))
    pace = world_speed[kind] * frailty[restoration] * 49.0 / years
    stays = np.array([15.0, 14.0, 12.0, 8.0]) * rng.exponential(1.0, (joints, 4)) / pace[:, None]
    leaves = np.cumsum(stays, axis=1)  # equivalent years from its making at which a joint leaves each stage
    age = (NOW - year[restoration]) * climate[owner]

    def stage_at(moment: np.ndarray) -> np.ndarray:
        return (leaves <= moment[:, None]).sum(axis=1)

    part = rng.choice(PARTS, joints, p=OFTEN)
    size = rng.uniform(50, 250, objects)
    load = load_inputs(part, size[owner], rng.uniform(0.5, 1.1, objects)[owner] * size[owner])
    moves = PLANS[rng.choice(len(PLANS), objects, p=[0.5, 0.3, 0.15, 0.05])]
    handled = rng.standard_normal(objects)
    seen_now, seen_before = rng.random(objects) < surveyed, rng.random(objects) < 0.5
    recent, earlier = rng.uniform(0, 1, objects), rng.uniform(4, 9, objects)
    ago = np.stack([np.where(seen_now & seen_before, earlier, np.nan), np.where(seen_now, recent, np.nan)], axis=1)[
        owner
    ]
    stages = np.full((joints, 2), -1, dtype=np.int64)
    for visit in range(2):
        there = np.isfinite(ago[:, visit])
        then = stage_at(np.maximum(age - np.nan_to_num(ago[:, visit]) * climate[owner], 0.0))
        stages[there, visit] = read(then[there], rng)
    evidence: list[dict[str, str]] = [{} for _ in range(joints)]
    named = rng.random(owner_of.size) < RECORDED
    record = DEFAULT_TABLE.kinds["record"]
    for j in np.flatnonzero(named[restoration]):
        evidence[j]["record"] = record.outcomes[rng.choice(len(CLASSES), p=record.chances[:, kind[j]])]
    seen = looks(kind, restoration, rng)
    for j in range(joints):
        if seen_now[owner[j]]:
            evidence[j] |= seen[j]
            for code, often in (("uv", 0.25), ("nitrate_test", 0.06)):
                if rng.random() < often:
                    table = DEFAULT_TABLE.kinds[code]
                    evidence[j][code] = table.outcomes[rng.choice(len(table.outcomes), p=table.chances[:, kind[j]])]
    today, later = stage_at(age), stage_at(age + AHEAD * climate[owner])
    fails = _shaken(rng, later, kind, owner, load, moves, handled, world_strength, scatter)
    chance = _true_chance(
        today,
        kind,
        owner,
        load,
        moves,
        handled,
        world_strength,
        scatter,
        years,
        AHEAD * climate[owner] * pace * years / 49.0,
        objects,
    )
    told = np.where(rng.random(owner_of.size) < 0.8, shop, -1)
    return Collection(
        owner, restoration, told, year, climate, kind, today, fails, chance, part, load, moves, ago, stages, evidence,
        objects, Parameters(world_speed * 49.0 / years, habits, shop, pace),
    )  # fmt: skip


def _restorations(
    count: int, habits: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Workshop, year and adhesive of each restoration; a class is only found in the years of its use."""
    shop = rng.integers(0, habits.size, count)
    year, of = np.empty(count), np.empty(count, dtype=np.int64)
    for r in range(count):
        while True:
            year[r] = rng.integers(1930, 2011)
            own = rng.random() < SHARING.within_workshop
            of[r] = habits[shop[r]] if own else rng.choice(len(CLASSES), p=DEFAULT_PRIOR)
            if rng.random() < date_likelihood(year[r], year[r])[of[r]]:
                break
    return shop, year, of


def _shaken(rng, stage, kind, owner, load, moves, handled, strength, scatter) -> np.ndarray:
    """Whether each joint is open, or gives in one of its moves, each with its own and its lasting scatter."""
    shared, common = CHOSEN.shared_scatter, CHOSEN.shared_scatter * SHARING.handling
    lasting = np.sqrt(common) * handled[owner] + np.sqrt(shared - common) * rng.standard_normal(stage.size)
    share = np.asarray(CHOSEN.share_by_stage)[stage]
    stress = load.peak_stress(CHOSEN.shocks.as_array())
    fails = stage == OPEN
    with np.errstate(divide="ignore"):
        log_use = np.log(stress) - np.log(strength[kind] * share)[:, None]
    for k in range(len(MOVES)):
        for turn in range(int(moves[:, k].max())):
            made = moves[owner, k] > turn
            fresh = np.sqrt(1.0 - shared) * rng.standard_normal(stage.size)
            fails |= made & (log_use[:, k] + scatter * (lasting + fresh) > 0)
    return fails


def _true_chance(stage, kind, owner, load, moves, handled, strength, scatter, years, ahead, objects) -> np.ndarray:
    """Chance of each object for one who knows all but the future and each joint's own luck."""
    rates = 49.0 / years / np.array([15.0, 14.0, 12.0, 8.0])
    then = transition_matrix(rates, ahead)[np.arange(stage.size), stage]
    common = CHOSEN.shared_scatter * SHARING.handling
    stress = load.peak_stress(CHOSEN.shocks.as_array()) * np.exp(scatter * np.sqrt(common) * handled)[owner][:, None]
    use = stress[:, None, :] / (strength[kind][:, None] * np.asarray(CHOSEN.share_by_stage)[:OPEN])[:, :, None]
    left = scatter * np.sqrt(1 - common), (CHOSEN.shared_scatter - common) / (1 - common)
    gives = failure_chance(use, moves[owner][:, None, :], scatter=left[0], shared=left[1])
    holds = (then[:, :OPEN] * (1 - gives)).sum(axis=1)
    kept = np.ones(objects)
    np.multiply.at(kept, owner, holds)
    return 1 - kept


def losses(collection: Collection) -> np.ndarray:
    """Share lost with each joint, as the scoring takes it."""
    return loss_shares(list(collection.part), np.full(collection.part.size, np.nan))[:, 1]
