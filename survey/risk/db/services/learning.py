"""What a whole collection teaches, worked out once for a run, kept with it, and learned on as the record changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.register.db.models import Object
from survey.risk.consequence import significance_weight
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors.findings import Shop, shop_key
from survey.risk.db.selectors.gathering import Gathered, Setting
from survey.risk.draws import Worlds
from survey.risk.identification import CLASSES
from survey.risk.pace import Pace
from survey.risk.parameters import Parameters
from survey.risk.whole import Learned, learn

Floats = NDArray[np.float64]


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
        learned = replace(self.learned, said=said, kinds=kinds, keys=_keys(number))
        return replace(
            self, learned=learned, number=number,
            scored_by=np.concatenate([self.scored_by, np.tile(self.learned.prior, (new[0], 1))]),
        )  # fmt: skip

    def drifted(self, most: float) -> list[Shop]:
        """Workshops and periods whose habit has moved by more than ``most``, a chance, since their work was scored."""
        moved = np.abs(self.learned.workshops - self.scored_by).sum(axis=1) / 2.0  # total variation
        return [shop for shop, place in self.number.items() if moved[place] > most]

    def settled(self, shops: Iterable[Shop]) -> Light:
        """The light once all work of some workshops and periods is scored by their habits."""
        scored_by = self.scored_by.copy()
        places = [self.number[shop] for shop in shops]
        scored_by[places] = self.learned.workshops[places]
        return replace(self, scored_by=scored_by)

    def keep(self) -> None:
        """Keep what was learned with the run."""
        self.run.learned = _kept(self.learned, list(self.number), self.scored_by)
        self.run.save(update_fields=["learned"])


def light_of(run: RiskRun, setting: Setting) -> Light:
    """The light of a run that has learned."""
    kept, rows = run.learned, run.learned["shops"]
    number: dict[Shop, int] = {(UUID(row[0]), row[1]): place for place, row in enumerate(rows)}
    learned = Learned(
        prior=setting.parameters.class_prior,
        said=np.array([row[3] for row in rows]).reshape(-1, len(CLASSES)),
        keys=_keys(number),
        kinds=np.array([row[2] for row in rows], dtype=np.int64),
        pace=replace(Pace.prior(setting.parameters.assumptions), weights=np.array(kept["pace"])),
        seed=kept["seed"],
    )
    scored_by = np.array([row[4] for row in rows]).reshape(-1, len(CLASSES))
    return Light(run, setting, learned, number, scored_by, collection_weight())


def learn_from(gathered: Iterable[Gathered], parameters: Parameters, seed: int) -> dict[str, Any]:
    """What to keep with a run, from batches of all objects that it is to score."""
    batches = [each for each in gathered if each.joints]
    number: dict[Shop, int] = {}
    for shop in sorted({shop for each in batches for shop in each.shops if shop}, key=_in_order):
        number[shop] = len(number)
    learned = learn([each.told(number) for each in batches], parameters, _keys(number), seed)
    return _kept(learned, list(number), learned.workshops)


def _in_order(shop: Shop) -> tuple[str, int]:
    return str(shop[0]), -1 if shop[1] is None else shop[1]


def _keys(shops: Iterable[Shop]) -> NDArray[np.uint64]:
    return np.array([shop_key(shop) for shop in shops], dtype=np.uint64)


def _kept(learned: Learned, shops: list[Shop], scored_by: Floats) -> dict[str, Any]:
    rows = zip(shops, learned.said.tolist(), learned.kinds.tolist(), scored_by.tolist(), strict=True)
    return {
        "seed": learned.seed,
        "pace": learned.pace.weights.tolist(),
        "pace_prior_share": learned.pace.prior_share,
        "mean_years": [learned.pace.quantile(share) for share in (0.05, 0.5, 0.95)],
        "shops": [[str(workshop), period, kind, said, by] for (workshop, period), said, kind, by in rows],
    }


def collection_weight() -> float:
    """Sum of the weights of all objects of the register: the whole that each is a share of."""
    known = Object.objects.filter(withdrawn_at=None).values_list("significance", flat=True)
    values = np.array([np.nan if value is None else value for value in known], dtype=np.float64)
    return float(significance_weight(values).sum()) or 1.0
