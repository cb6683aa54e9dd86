"""What a whole collection teaches, worked out once for a run and kept with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any
from uuid import UUID

import numpy as np

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


@dataclass(frozen=True)
class Light:
    """All that objects of a run are scored in: its setting, what was learned, and the draws that follow from it."""

    run: RiskRun
    setting: Setting
    learned: Learned
    number: Mapping[Shop, int]
    whole: float

    @property
    def parameters(self) -> Parameters:
        return self.setting.parameters

    @cached_property
    def worlds(self) -> Worlds:
        """The same whoever scores, from the seed kept with the run."""
        return self.learned.worlds(self.parameters)


def light_of(run: RiskRun, setting: Setting) -> Light:
    """The light of a run that has learned."""
    learned, number = _read(run.learned, setting.parameters)
    return Light(run, setting, learned, number, collection_weight())


def learn_from(gathered: Iterable[Gathered], parameters: Parameters, seed: int) -> dict[str, Any]:
    """What to keep with a run, from batches of all objects that it is to score."""
    batches = [each for each in gathered if each.joints]
    number: dict[Shop, int] = {}
    for shop in sorted({shop for each in batches for shop in each.shops if shop}, key=_in_order):
        number[shop] = len(number)
    keys = np.array([shop_key(shop) for shop in number], dtype=np.uint64)
    return _kept(learn([each.told(number) for each in batches], parameters, keys, seed), list(number))


def with_habits(light: Light, found: Mapping[Shop, tuple[list[float], int]]) -> Light:
    """The same light with the habits of some workshops and periods set, or added."""
    number = {**light.number}
    for shop in found:
        number.setdefault(shop, len(number))
    more = len(number) - len(light.number)
    shops = np.concatenate([light.learned.workshops, np.zeros((more, len(CLASSES)))])
    kinds = np.concatenate([light.learned.kinds, np.full(more, -1, dtype=np.int64)])
    for shop, (habit, kind) in found.items():
        shops[number[shop]], kinds[number[shop]] = habit, kind
    keys = np.array([shop_key(shop) for shop in number], dtype=np.uint64)
    return replace(light, learned=replace(light.learned, workshops=shops, kinds=kinds, keys=keys), number=number)


def keep(light: Light) -> None:
    """Keep what a light holds with its run."""
    light.run.learned = _kept(light.learned, list(light.number))
    light.run.save(update_fields=["learned"])


def _in_order(shop: Shop) -> tuple[str, int]:
    return str(shop[0]), -1 if shop[1] is None else shop[1]


def _kept(learned: Learned, shops: list[Shop]) -> dict[str, Any]:
    rows = zip(shops, learned.workshops.tolist(), learned.kinds.tolist(), strict=True)
    return {
        "seed": learned.seed,
        "pace": learned.pace.weights.tolist(),
        "pace_prior_share": learned.pace.prior_share,
        "mean_years": [learned.pace.quantile(share) for share in (0.05, 0.5, 0.95)],
        "shops": [[str(workshop), period, kind, habit] for (workshop, period), habit, kind in rows],
    }


def _read(kept: Mapping[str, Any], parameters: Parameters) -> tuple[Learned, dict[Shop, int]]:
    number: dict[Shop, int] = {(UUID(row[0]), row[1]): place for place, row in enumerate(kept["shops"])}
    pace = replace(Pace.prior(parameters.assumptions), weights=np.array(kept["pace"]))
    learned = Learned(
        workshops=np.array([row[3] for row in kept["shops"]]).reshape(-1, len(CLASSES)),
        keys=np.array([shop_key(shop) for shop in number], dtype=np.uint64),
        kinds=np.array([row[2] for row in kept["shops"]], dtype=np.int64),
        pace=pace,
        seed=kept["seed"],
    )
    return learned, number


def collection_weight() -> float:
    """Sum of the weights of all objects of the register: the whole that each is a share of."""
    known = Object.objects.filter(withdrawn_at=None).values_list("significance", flat=True)
    values = np.array([np.nan if value is None else value for value in known], dtype=np.float64)
    return float(significance_weight(values).sum()) or 1.0
