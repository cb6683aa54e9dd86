"""How estimates have held, as its page shows it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from media.base.drawing import Scale, Tick
from survey.register.db.models import Object
from survey.sampling.intervals import wilson
from treatments.hours.db.models import EstimateFactor
from treatments.hours.db.selectors.learned import ENOUGH, Experience, Learned, learned
from treatments.hours.learning import BODY, KIND, SHARES, SKILL, Calibration
from treatments.options.steps import SKILL_WORDS

MAIN = 0.8
KIND_WORDS = {"take_down": "take down", "dry_fit": "dry fit", "clean_edges": "clean edges", "write_up": "write up",
              "adjust_gloss": "adjust gloss", "reduce_overpaint": "reduce overpaint"}  # fmt: skip


@dataclass(frozen=True)
class LevelLine:
    """One kind of step, skill or body: how its hours compare with those of all others, from so many records."""

    name: str
    records: int
    ratio: float

    @property
    def in_words(self) -> str:
        per_cent = round(abs(self.ratio - 1) * 100)
        return f"{per_cent} % {'longer' if self.ratio > 1 else 'shorter'}" if per_cent else "as all others"


@dataclass(frozen=True)
class HeldLine:
    """Of a range that should hold so many of its jobs or steps, what it held; ``low`` and ``high`` is chance (90 %)."""

    share: float
    steps: float
    jobs: float
    low: float
    high: float


@dataclass(frozen=True)
class CoveragePlot:
    """Shares asked for across, shares held up, in per cent of the plot."""

    steps: str
    jobs: tuple[tuple[float, float, float, float], ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True)
class ShownLearning:
    """Everything that the page shows. ``held`` and ``plot`` are there once enough jobs are finished."""

    known: Experience
    enough_at: int
    newest: EstimateFactor | None
    groups: list[tuple[str, list[LevelLine]]]
    held: list[HeldLine]
    plot: CoveragePlot | None
    calibration: Calibration | None
    tail: bool

    @property
    def main(self) -> HeldLine | None:
        """The range that pages show: 8 in 10."""
        return next((line for line in self.held if abs(line.share - MAIN) < 1e-9), None)

    @property
    def held_jobs(self) -> int:
        return round(self.main.jobs * self.calibration.job_count) if self.main and self.calibration else 0

    @property
    def verdict(self) -> str:
        """Coverage in words, as far as so few jobs allow."""
        if self.main is None:
            return ""
        if self.main.high < MAIN:
            return "Ranges are too narrow: more jobs fall outside than should."
        if self.main.low > MAIN:
            return "Ranges are wider than they need be."
        return "That is within what chance leaves open for so many jobs."


def shown_learning() -> ShownLearning:
    """What finished treatments teach and how well that would have held. Five queries."""
    found = learned()
    calibration = found.calibration
    held = _held(calibration) if calibration else []
    return ShownLearning(
        known=found.experience, enough_at=ENOUGH,
        newest=EstimateFactor.objects.select_related("by").order_by("-pk").first(),
        groups=_groups(found), held=held, plot=_plot(held) if held else None, calibration=calibration,
        tail=found.teaching is not None and found.teaching.fitted.tail_df < 30,
    )  # fmt: skip


def _groups(found: Learned) -> list[tuple[str, list[LevelLine]]]:
    """Effects as multiples, by kind of step, skill and body."""
    if found.teaching is None:
        return []
    bodies = dict(Object._meta.get_field("body").choices or ())
    words: dict[str, tuple[str, Mapping[str, str]]] = {
        KIND: ("Kind of step", KIND_WORDS), SKILL: ("Skill", SKILL_WORDS), BODY: ("Ceramic body", bodies),
    }  # fmt: skip
    made = []
    for grouping, (title, names) in words.items():
        counts = Counter(getattr(record, grouping) for record in found.records)
        effects = found.teaching.fitted.effects(grouping)
        lines = [
            LevelLine(names.get(code, code.replace("_", " ")), counts[code], math.exp(effect))
            for code, effect in sorted(effects.items(), key=lambda item: -item[1])
        ]
        if lines:
            made.append((title, lines))
    return made


def _held(calibration: Calibration) -> list[HeldLine]:
    lines = []
    for place, share in enumerate(SHARES):
        jobs = float(calibration.jobs[place])
        low, high = wilson(round(jobs * calibration.job_count), calibration.job_count, confidence=0.9)
        lines.append(HeldLine(share, float(calibration.steps[place]), jobs, float(low), float(high)))
    return lines


def _plot(held: list[HeldLine]) -> CoveragePlot:
    x, y = Scale(0, 1), Scale(0, 1, 100, 0)
    ticks = [share / 5 for share in range(6)]
    places = [(0.0, 100.0), *((x.at(line.share), y.at(line.steps)) for line in held), (100.0, 0.0)]
    return CoveragePlot(
        steps="M" + "L".join(f"{left:g} {top:g}" for left, top in places),
        jobs=tuple((x.at(li.share), y.at(li.jobs), y.at(li.low), y.at(li.high)) for li in held),
        across=tuple(Tick(x.at(tick), f"{tick:.0%}") for tick in ticks),
        up=tuple(Tick(y.at(tick), f"{tick:.0%}") for tick in ticks),
    )
