"""All writing of scenarios, and what they are reckoned to come to."""

from treatments.whatif.db.services.giving_way import find_least
from treatments.whatif.db.services.keeping import (
    MOST_HOURS,
    MOST_WEEKS,
    add_scenario,
    keep_comparison,
    keep_giving_way,
    remove_scenario,
    start_comparison,
    start_giving_way,
)
from treatments.whatif.db.services.reckoning import divided, futures_of, reckon

__all__ = [
    "MOST_HOURS",
    "MOST_WEEKS",
    "add_scenario",
    "divided",
    "find_least",
    "futures_of",
    "keep_comparison",
    "keep_giving_way",
    "reckon",
    "remove_scenario",
    "start_comparison",
    "start_giving_way",
]
