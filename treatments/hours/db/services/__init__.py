"""All writing of hours: clocks, logged time and its corrections, treatments from begun to finished, the factor."""

from treatments.hours.db.services.clocks import discard_clock, start_clock, stop_clock
from treatments.hours.db.services.factors import HIGHEST, LOWEST, set_factor
from treatments.hours.db.services.logged import Said, correct_time, log_time, put_back, take_out
from treatments.hours.db.services.treating import begin_treatment, finish_treatment, reopen_treatment, say_surprise

__all__ = [
    "HIGHEST",
    "LOWEST",
    "Said",
    "begin_treatment",
    "correct_time",
    "discard_clock",
    "finish_treatment",
    "log_time",
    "put_back",
    "reopen_treatment",
    "say_surprise",
    "set_factor",
    "start_clock",
    "stop_clock",
    "take_out",
]
