"""From a table of step rates and an object's drivers to hours per step."""

import json
import math
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treatments.options.steps import DRIVERS, LevelRates, StepRate, ThreePoint, expand
from treatments.options.tables import parse_table

DEFAULTS = parse_table(json.loads((Path(__file__).parents[4] / "fixtures" / "step_rates.json").read_text("utf-8")))
LEVELS = [level.code for level in DEFAULTS.levels]
NOTHING_ASSUMED: dict[str, ThreePoint] = {}


def a_step(**changed):
    fields = {"code": "fill", "name": "Fill", "kind": "fill", "skill": "fill", "resource": "none"}
    return StepRate(**(fields | {"base_hours": ThreePoint(1, 2, 3)} | changed))


def a_level(*steps):
    return LevelRates("one", "One", "A level", "all", 12, steps)


def working_hours(code, **drivers):
    steps = expand(DEFAULTS.level(code), drivers, DEFAULTS.assumed_drivers)
    return sum((step.hours for step in steps), ThreePoint(0, 0, 0))


def test_hours_are_base_and_rate_times_driver_at_each_point():
    step = a_step(per_driver={"fill_area_cm2": ThreePoint(0.1, 0.2, 0.4)}, wait_hours=ThreePoint(24, 48, 72))
    (got,) = expand(a_level(step), {"fill_area_cm2": 10}, NOTHING_ASSUMED)
    assert (got.hours.low, got.hours.likely, got.hours.high) == pytest.approx((2, 4, 7))
    assert got.wait == ThreePoint(24, 48, 72)
    assert got.assumed == ()


def test_drivers_may_be_the_numbers_of_a_database_or_an_array():
    step = a_step(per_driver={"joints": ThreePoint(1, 1, 1)})
    fives: list[Any] = [5, 5.0, Decimal("5.00"), np.int64(5), np.float32(5)]
    for five in fives:
        (got,) = expand(a_level(step), {"joints": five}, NOTHING_ASSUMED)
        assert got.hours == ThreePoint(6, 7, 8)


def test_a_driver_given_as_a_range_widens_the_hours():
    step = a_step(per_driver={"joints": ThreePoint(0.1, 0.2, 0.4)})
    (got,) = expand(a_level(step), {"joints": ThreePoint(2, 5, 10)}, NOTHING_ASSUMED)
    assert (got.hours.low, got.hours.likely, got.hours.high) == pytest.approx((1.2, 3, 7))


@pytest.mark.parametrize("unknown", [{}, {"joints": None}, {"joints": math.nan}])
def test_what_was_not_measured_is_assumed_and_said(unknown):
    step = a_step(per_driver={"joints": ThreePoint(1, 1, 1)})
    (got,) = expand(a_level(step), unknown, {"joints": ThreePoint(3, 7, 14)})
    assert got.assumed == ("joints",)
    assert got.hours == ThreePoint(4, 9, 17)


def test_neither_measured_nor_assumed_is_refused():
    step = a_step(per_driver={"joints": ThreePoint(1, 1, 1)})
    with pytest.raises(ValueError, match="joints is neither measured nor assumed"):
        expand(a_level(step), {}, NOTHING_ASSUMED)


def test_no_loss_means_no_filling_but_an_unmeasured_loss_stays_in():
    step = a_step(only_with=("fill_area_cm2",))
    assert expand(a_level(step), {"fill_area_cm2": 0}, NOTHING_ASSUMED) == ()
    assert len(expand(a_level(step), {}, NOTHING_ASSUMED)) == 1


@pytest.mark.parametrize(
    ("drivers", "message"),
    [
        ({"handles": 2}, "no driver 'handles'"),
        ({"joints": -1}, "joints"),
        ({"joints": math.inf}, "joints"),
        ({"joints": 1e9}, "joints"),
        ({"joints": ThreePoint(5, 4, 6)}, "must not fall"),
    ],
)
def test_drivers_that_cannot_be_are_refused_by_name(drivers, message):
    with pytest.raises(ValueError, match=message):
        expand(a_level(a_step()), drivers, NOTHING_ASSUMED)


@settings(deadline=None)
@given(
    code=st.sampled_from(LEVELS),
    driver=st.sampled_from(DRIVERS),
    amount=st.floats(0.5, 500),
    more=st.floats(0, 500),
)
def test_more_to_do_never_takes_less_time_and_points_keep_their_order(code, driver, amount, more):
    less = working_hours(code, **{driver: amount})
    greater = working_hours(code, **{driver: amount + more})
    assert less.low <= less.likely <= less.high
    assert greater.low >= less.low
    assert greater.likely >= less.likely
    assert greater.high >= less.high


def test_leaving_takes_no_hours_but_has_a_date_to_look_again():
    level = DEFAULTS.level("leave")
    assert expand(level, {}, DEFAULTS.assumed_drivers) == ()
    assert level.look_again_months > 0


def test_default_levels_run_from_least_to_most_work():
    likely = [working_hours(code, joints=8, joint_length_cm=90, fill_area_cm2=40, sherds=7).likely for code in LEVELS]
    assert LEVELS == ["leave", "watch", "secure", "rejoin_failing", "take_down_rejoin", "make_good"]
    assert likely == sorted(likely)


def test_default_steps_keep_the_order_of_the_trade():
    """Common practice: paint off before joints are undone, joined before filling, shaped before retouching."""
    kinds = [step.kind for step in DEFAULTS.level("make_good").steps]
    order = ["test", "reduce_overpaint", "take_down", "clean_edges", "dry_fit", "join", "fill", "shape", "retouch"]
    assert [kind for kind in kinds if kind in order] == order
    assert (kinds[0], kinds[-1]) == ("photograph", "write_up")
    assert kinds.count("photograph") == 2


def test_every_default_step_that_uses_solvent_is_at_a_fume_hood_and_then_waits():
    """Common practice: ventilation for solvent work, and nothing goes on until the solvent has left."""
    solvent = [step for level in DEFAULTS.levels for step in level.steps if step.skill == "solvent"]
    assert solvent
    assert all(step.resource == "fume_hood" and step.wait_hours.likely > 0 for step in solvent)


def test_an_unknown_level_is_refused_with_those_that_there_are():
    with pytest.raises(ValueError, match=r"no 'polish'.*leave, watch"):
        DEFAULTS.level("polish")
