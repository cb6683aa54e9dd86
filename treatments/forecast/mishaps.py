"""What comes between: days on which people are ill, and what taking down old joints brings to light."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from treatments.forecast.noise import CELLS
from treatments.planning.problem import DAY

WORKING_DAYS = 225.0  # of a full year, without weekends, leave and public holidays (common practice)


class Mishaps(NamedTuple):
    """Equally likely values, drawn by cell as in `Noise`.

    ``gap`` and ``spell`` [cells] are quarter-hours by the clock from the end of one illness to the next and through it;
    ``chance`` [cells] that taking down an object brings a surprise, one draw for all objects of a trial, since it is
    not known; ``extra`` what the steps after it are multiplied by then, ``usual`` in any case.
    """

    gap: NDArray[np.float64]
    spell: NDArray[np.float64]
    chance: NDArray[np.float64]
    extra: float
    usual: float

    @classmethod
    def none(cls) -> Mishaps:
        """Nobody is ever ill and nothing surprises."""
        return cls(np.full(CELLS, np.inf), np.full(CELLS, np.inf), np.zeros(CELLS), 1.0, 1.0)

    @classmethod
    def of(
        cls, *, sick_days: float = 0.0, spell_days: float = 4.0, chance: tuple[float, float] | None = None,
        extra: float = 0.0, in_hours_already: bool = False,
    ) -> Mishaps:  # fmt: skip
        """From what a department knows or assumes.

        Parameters
        ----------
        sick_days : working days that a person is ill in a year, 0 to 150
        spell_days : days by the calendar that an illness lasts on average, 1 to 90
        chance : parameters (> 0) of the beta distribution of the chance of a surprise; none for no surprises
        extra : share that a surprise adds to the hours of the steps after taking down, 0 to 5
        in_hours_already : the hours come from a record that holds surprises, so their mean must not be added again

        Raises
        ------
        ValueError
            A parameter out of its range, named.

        Notes
        -----
        Illness begins at random (exponential gaps) and lasts a geometric number of days; the time between is such that
        in the long run ``sick_days`` of 225 are missed.
        """
        for name, value, low, high in (
            ("sick_days", sick_days, 0, 150), ("spell_days", spell_days, 1, 90), ("extra", extra, 0, 5),
        ):  # fmt: skip
            if not low <= value <= high:
                raise ValueError(f"{name} must lie between {low} and {high}")
        if chance is not None and not (0 < chance[0] < 1e6 and 0 < chance[1] < 1e6):
            raise ValueError("chance must be two numbers above zero")
        middles = (np.arange(CELLS) + 0.5) / CELLS
        gap, spell = np.full(CELLS, np.inf), np.full(CELLS, np.inf)
        if sick_days > 0:
            share = sick_days / WORKING_DAYS
            gap = stats.expon.ppf(middles, scale=spell_days * (1 - share) / share) * DAY
            spell = (stats.geom.ppf(middles, 1 / spell_days) if spell_days > 1 else np.ones(CELLS)) * DAY
        chances = np.zeros(CELLS) if chance is None else stats.beta.ppf(middles, *chance)
        usual = 1 / (1 + float(chances.mean()) * extra) if in_hours_already else 1.0
        return cls(gap, spell, chances, 1.0 + extra, usual)
