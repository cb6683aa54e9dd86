"""What is suggested to begin a discussion with. The rules are common practice; the conservator decides."""

from itertools import product

import pytest

from treatments.options.suggesting import HANDS_OFF, LEVELS, suggest

ORDER = {level: place for place, level in enumerate(LEVELS)}


def level(**said):
    usual = {"band": "monitor", "worst_stage": 0, "joints": 4, "failing": 0, "shown": True}
    return suggest(**(usual | said)).level


def test_an_object_without_old_joints_is_left():
    assert level(joints=0, worst_stage=None) == "leave"


def test_joints_that_nobody_looked_at_are_looked_at_first_whatever_else_is_said():
    assert level(worst_stage=None) == "watch" and level(worst_stage=None, band="do_not_lift") == "watch"


@pytest.mark.parametrize("stage", [0, 1])
def test_joints_that_hold_are_watched_if_the_object_goes_on_show_and_left_if_not(stage):
    assert level(worst_stage=stage) == "watch" and level(worst_stage=stage, shown=False) == "leave"


def test_an_adhesive_that_fails_while_sherds_hold_is_secured_where_it_stands():
    assert level(worst_stage=2, failing=1) == "secure"


def test_what_must_not_be_lifted_is_at_least_secured():
    assert level(band="do_not_lift", worst_stage=0) == "secure"


@pytest.mark.parametrize("stage", [3, 4])
def test_a_few_moving_joints_are_rejoined_and_many_mean_taking_it_down(stage):
    assert level(worst_stage=stage, failing=2) == "rejoin_failing"
    assert level(worst_stage=stage, failing=3) == "take_down_rejoin"


def test_only_an_old_restoration_that_draws_the_eye_on_show_is_made_good():
    assert level(worst_stage=4, failing=4, disfigured=True) == "make_good"
    assert level(worst_stage=4, failing=4, disfigured=True, shown=False) == "take_down_rejoin"
    assert level(worst_stage=0, disfigured=True) == "watch", "what only looks bad waits"


def test_a_worse_stage_never_asks_for_less_and_every_suggestion_has_its_reason():
    for band, shown, ugly, failing in product(["", "do_not_lift"], [False, True], [False, True], range(5)):
        found = [
            suggest(band=band, worst_stage=stage, joints=4, failing=failing, shown=shown, disfigured=ugly)
            for stage in range(5)
        ]
        places = [ORDER[suggestion.level] for suggestion in found]
        assert places == sorted(places), (band, shown, ugly, failing)
        assert all(suggestion.why.endswith(".") and suggestion.why[0].isalnum() for suggestion in found)


def test_levels_without_work_are_those_at_the_gentle_end():
    assert set(LEVELS[:2]) == HANDS_OFF


@pytest.mark.parametrize(
    ("wrong", "named"), [({"failing": 5}, "failing"), ({"failing": -1}, "failing"), ({"worst_stage": 5}, "worst_stage")]
)
def test_counts_that_cannot_be_are_refused_by_name(wrong, named):
    with pytest.raises(ValueError, match=named):
        level(**wrong)
