"""What a whole collection teaches, worked out once for a run, kept with it, and learned on as the record changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.risk.db.selectors.findings import Shop
from survey.risk.db.selectors.gathering import Gathered
from survey.risk.db.selectors.light import Light, shop_keys
from survey.risk.parameters import Parameters
from survey.risk.whole import Learned, learn

Floats = NDArray[np.float64]


def learn_from(gathered: Iterable[Gathered], parameters: Parameters, seed: int) -> dict[str, Any]:
    """What to keep with a run, from batches of all objects that it is to score."""
    batches = [each for each in gathered if each.joints]
    number: dict[Shop, int] = {}
    for shop in sorted({shop for each in batches for shop in each.shops if shop}, key=_in_order):
        number[shop] = len(number)
    learned = learn([each.told(number) for each in batches], parameters, shop_keys(number), seed)
    return _kept(learned, list(number), learned.workshops)


def keep(light: Light) -> None:
    """Keep what was learned with its run."""
    light.run.learned = _kept(light.learned, list(light.number), light.scored_by)
    light.run.save(update_fields=["learned"])


def _in_order(shop: Shop) -> tuple[str, int]:
    return str(shop[0]), -1 if shop[1] is None else shop[1]


def _kept(learned: Learned, shops: list[Shop], scored_by: Floats) -> dict[str, Any]:
    rows = zip(shops, learned.said.tolist(), learned.kinds.tolist(), scored_by.tolist(), strict=True)
    return {
        "seed": learned.seed,
        "pace": learned.pace.weights.tolist(),
        "pace_prior_share": learned.pace.prior_share,
        "mean_years": [learned.pace.quantile(share) for share in (0.05, 0.5, 0.95)],
        "shops": [[str(workshop), period, kind, said, by] for (workshop, period), said, kind, by in rows],
    }
