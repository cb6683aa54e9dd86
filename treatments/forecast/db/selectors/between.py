"""What the forecast assumes to come between: illness, and surprises when old joints are taken down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from treatments.forecast.db.models import Mishap
from treatments.forecast.mishaps import Mishaps
from treatments.hours.db.selectors import surprises

# Own judgement, to be replaced: about as many days ill as public statistics of working days lost give (from memory),
# and one taking down in seven that shows what adds two fifths to the work after it.
SHIPPED = {
    "sick_days": 6.0, "spell_days": 4.0, "surprise": 0.15, "surprise_weight": 10.0, "surprise_extra": 0.4,
}  # fmt: skip


@dataclass(frozen=True)
class Between:
    """The assumptions in force, and what the record says: of ``looked`` taken down, ``found`` held a surprise."""

    row: Mishap
    looked: int
    found: int
    in_hours_already: bool

    @property
    def beta(self) -> tuple[float, float]:
        """The chance of a surprise after the record: a beta distribution, prior and counts together."""
        weight = self.row.surprise_weight
        return self.row.surprise * weight + self.found, (1 - self.row.surprise) * weight + self.looked - self.found

    @property
    def chance(self) -> float:
        alpha, beta = self.beta
        return alpha / (alpha + beta)

    def drawn(self) -> Mishaps:
        """As the simulation takes it."""
        return Mishaps.of(
            sick_days=self.row.sick_days, spell_days=self.row.spell_days, chance=self.beta,
            extra=self.row.surprise_extra, in_hours_already=self.in_hours_already,
        )  # fmt: skip

    def as_words(self) -> dict[str, Any]:
        """For the assumptions kept with a forecast."""
        return {
            "sick_days": self.row.sick_days, "spell_days": self.row.spell_days, "surprise": round(self.chance, 4),
            "surprise_extra": self.row.surprise_extra, "surprises_looked": self.looked,
            "surprises_found": self.found,
        }  # fmt: skip


def mishap() -> Mishap:
    """The assumptions in force: those that somebody set last, else the shipped ones (not saved). One query."""
    return Mishap.objects.select_related("by").order_by("-pk").first() or Mishap(**SHIPPED, reason="As Fettle came")


def assumed_mishaps(*, in_hours_already: bool) -> Between:
    """Assumptions and record together. Two queries."""
    looked, found = surprises()
    return Between(mishap(), looked, found, in_hours_already)
