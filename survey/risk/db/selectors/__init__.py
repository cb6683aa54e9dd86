"""All reading of scores."""

from survey.risk.db.selectors.gathering import Gathered, Setting, gather
from survey.risk.db.selectors.ranking import latest_run

__all__ = ["Gathered", "Setting", "gather", "latest_run"]
