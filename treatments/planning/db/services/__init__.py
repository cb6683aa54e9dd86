"""All writing of staff, plans and calendar addresses."""

from treatments.planning.db.services.addresses import end_address, make_address
from treatments.planning.db.services.byhand import (
    WouldClash,
    lock_week,
    move,
    place_word,
    proposed,
    proposed_swap,
    swap,
    undo_move,
)
from treatments.planning.db.services.plans import (
    MOST_SECONDS,
    MOST_SEED,
    SECONDS,
    keep_plan,
    make_first,
    pin,
    set_effects,
    start_plan,
)
from treatments.planning.db.services.staff import (
    DAYS,
    add_holiday,
    add_leave,
    member,
    remove_holiday,
    remove_leave,
    remove_member,
    save_member,
    set_workplaces,
)

__all__ = [
    "DAYS",
    "MOST_SECONDS",
    "MOST_SEED",
    "SECONDS",
    "WouldClash",
    "add_holiday",
    "add_leave",
    "end_address",
    "keep_plan",
    "lock_week",
    "make_address",
    "make_first",
    "member",
    "move",
    "pin",
    "place_word",
    "proposed",
    "proposed_swap",
    "remove_holiday",
    "remove_leave",
    "remove_member",
    "save_member",
    "set_effects",
    "set_workplaces",
    "start_plan",
    "swap",
    "undo_move",
]
