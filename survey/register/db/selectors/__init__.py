"""All reading of the register."""

from survey.register.db.selectors.exhibitions import (
    current_exhibition,
    entry_map,
    milestones_of,
    open_exhibitions,
    the_exhibition,
)
from survey.register.db.selectors.objects import find_objects, same_number, the_object
from survey.register.db.selectors.places import (
    ancestors,
    children_of,
    object_counts,
    objects_within,
    shelves_of,
    subtree,
    the_place,
)

__all__ = [
    "ancestors",
    "children_of",
    "current_exhibition",
    "entry_map",
    "find_objects",
    "milestones_of",
    "object_counts",
    "objects_within",
    "open_exhibitions",
    "same_number",
    "shelves_of",
    "subtree",
    "the_exhibition",
    "the_object",
    "the_place",
]
