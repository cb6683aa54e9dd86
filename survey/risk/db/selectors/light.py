"""What objects of a run are scored in: its dates and assumptions, what it learned, and the draws that follow."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.register.db.models import Exhibition, MilestoneKind, Object
from survey.risk.consequence import significance_weight
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors.findings import Shop, shop_key
from survey.risk.db.selectors.gathering import Ahead, Setting
from survey.risk.draws import Worlds
from survey.risk.identification import CLASSES
from survey.risk.pace import Pace
from survey.risk.parameters import Parameters, read
from survey.risk.whole import Learned

Floats = NDArray[np.float64]
OTHERWISE_AHEAD = timedelta(days=365)


@dataclass(frozen=True)
class Light:
    """All that objects of a run are scored in: its setting, what was learned, and the draws that follow from it.

    ``number`` of each workshop and period in ``learned``; ``scored_by`` [w, c] the habits by which the work of each
    was last scored as a whole; ``whole`` the sum of the weights of the collection.
    """

    run: RiskRun
    setting: Setting
    learned: Learned
    number: Mapping[Shop, int]
    scored_by: Floats
    whole: float

    @property
    def parameters(self) -> Parameters:
        return self.setting.parameters

    @cached_property
    def worlds(self) -> Worlds:
        """The same whoever scores, from the seed kept with the run."""
        return self.learned.worlds(self.parameters)

    def heard(self, words: Iterable[tuple[Shop, Floats, int]]) -> Light:
        """The light once more is said of workshops' habits: logarithms [c] to add, and the kind they rest on."""
        number, more = {**self.number}, list(words)
        for shop, _, _ in more:
            number.setdefault(shop, len(number))
        new = (len(number) - len(self.number), len(CLASSES))
        said = np.concatenate([self.learned.said, np.zeros(new)])
        kinds = np.concatenate([self.learned.kinds, np.full(new[0], -1, dtype=np.int64)])
        for shop, logs, kind in more:
            said[number[shop]] += logs
            kinds[number[shop]] = max(kinds[number[shop]], kind)
        learned = replace(self.learned, said=said, kinds=kinds, keys=shop_keys(number))
        return replace(
            self, learned=learned, number=number,
            scored_by=np.concatenate([self.scored_by, np.tile(self.learned.prior, (new[0], 1))]),
        )  # fmt: skip

    def drifted(self, most: float) -> list[Shop]:
        """Workshops and periods whose habit has moved by more than ``most``, a chance, since their work was scored."""
        moved = np.abs(self.learned.workshops - self.scored_by).sum(axis=1) / 2.0  # total variation
        return [shop for shop, place in self.number.items() if moved[place] > most]

    def settled(self, shops: Iterable[Shop], by: Light) -> Light:
        """The light once all work of some workshops and periods is scored by the habits that another held."""
        scored_by = self.scored_by.copy()
        for shop in shops:
            scored_by[self.number[shop]] = by.learned.workshops[by.number[shop]]
        return replace(self, scored_by=scored_by)


def light_for(run: RiskRun) -> Light:
    """The light that all objects of a run are scored in, once it has learned."""
    setting = setting_of(run)
    kept, rows = run.learned, run.learned["shops"]
    number: dict[Shop, int] = {(UUID(row[0]), row[1]): place for place, row in enumerate(rows)}
    learned = Learned(
        prior=setting.parameters.class_prior,
        said=np.array([row[3] for row in rows]).reshape(-1, len(CLASSES)),
        keys=shop_keys(number),
        kinds=np.array([row[2] for row in rows], dtype=np.int64),
        pace=replace(Pace.prior(setting.parameters.assumptions), weights=np.array(kept["pace"])),
        seed=kept["seed"],
    )
    scored_by = np.array([row[4] for row in rows]).reshape(-1, len(CLASSES))
    return Light(run, setting, learned, number, scored_by, collection_weight())


def setting_of(run: RiskRun) -> Setting:
    """What a run looks ahead to and assumes; without an exhibition, a year ahead."""
    return Setting(
        as_of=run.as_of, ahead=milestones_ahead(run.exhibition, run.as_of), parameters=read(run.parameters.values)
    )


def milestones_ahead(exhibition: Exhibition | None, as_of: date) -> tuple[Ahead, ...]:
    """Milestones up to opening day in the order of time, opening last; a year from now where there is none."""
    dated = dict(exhibition.milestones.values_list("kind", "date")) if exhibition else {}
    if MilestoneKind.OPENING not in dated:
        return (Ahead("year", "a year from now", as_of + OTHERWISE_AHEAD),)
    opening = dated.pop(MilestoneKind.OPENING)
    before = sorted((day, kind) for kind, day in dated.items() if kind != MilestoneKind.END and day <= opening)
    names = {"photography": "photography ends", "mount_making": "mounts are made", "case_closing": "cases close"}
    return (*(Ahead(kind, names[kind], day) for day, kind in before), Ahead("opening", "opening day", opening))


def shop_keys(shops: Iterable[Shop]) -> NDArray[np.uint64]:
    """What names workshops and periods for good [w]."""
    return np.array([shop_key(shop) for shop in shops], dtype=np.uint64)


def collection_weight() -> float:
    """Sum of the weights of all objects of the register: the whole that each is a share of."""
    known = Object.objects.filter(withdrawn_at=None).values_list("significance", flat=True)
    values = np.array([np.nan if value is None else value for value in known], dtype=np.float64)
    return float(significance_weight(values).sum()) or 1.0
