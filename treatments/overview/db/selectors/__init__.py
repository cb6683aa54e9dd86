"""What burns today, an object's whole story, and what the numbers rest on; read across all rooms."""

from treatments.overview.db.selectors.assumed import SettingsShown, settings_shown
from treatments.overview.db.selectors.story import ObjectStory, object_story
from treatments.overview.db.selectors.today import Today, today
from treatments.overview.db.selectors.weekly import WeeklySheet, weekly_sheet

__all__ = [
    "ObjectStory",
    "SettingsShown",
    "Today",
    "WeeklySheet",
    "object_story",
    "settings_shown",
    "today",
    "weekly_sheet",
]
