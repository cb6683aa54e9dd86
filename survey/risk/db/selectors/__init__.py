"""All reading of scores."""

from survey.risk.db.selectors.details import Story, story
from survey.risk.db.selectors.gathering import Gathered, Setting, gather
from survey.risk.db.selectors.ranking import Line, RankingPage, Wanted, latest_run, ranking_page
from survey.risk.db.selectors.shelves import must_not_be_lifted, shelf_list
from survey.risk.db.selectors.workshops import ageing_nitrate

__all__ = [
    "Gathered",
    "Line",
    "RankingPage",
    "Setting",
    "Story",
    "Wanted",
    "ageing_nitrate",
    "gather",
    "latest_run",
    "must_not_be_lifted",
    "ranking_page",
    "shelf_list",
    "story",
]
