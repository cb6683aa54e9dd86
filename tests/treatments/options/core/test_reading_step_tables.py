"""A table of step rates from outside: whole or refused, with the place of what is wrong."""

import copy
import json
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from treatments.options.tables import MAX_STEPS, parse_table

DEFAULTS = json.loads((Path(__file__).parents[4] / "fixtures" / "step_rates.json").read_text("utf-8"))


def changed(path, value):
    """The default table with one thing put in the place that ``path`` leads to."""
    table = copy.deepcopy(DEFAULTS)
    *way, last = path
    at = table
    for key in way:
        at = at[key]
    at[last] = value
    return table


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (["schema"], 2, "schema"),
        (["schema"], True, "schema"),
        (["steps"], {}, "steps: must be a list"),
        (["steps"], [{}] * (MAX_STEPS + 1), "at most"),
        (["levels"], [], "levels: must hold"),
        (["steps", 0, "code"], "Photograph!", r"steps\[0\]: code"),
        (["steps", 1, "code"], "photograph_before", "stands twice"),
        (["steps", 0, "skill"], "magic", r"steps\[0\] \(photograph_before\): skill must be one of"),
        (["steps", 0, "kind"], "polish", "kind must be one of"),
        (["steps", 0, "resource"], None, "resource must be one of"),
        (["steps", 0, "name"], " ", "name: must be text"),
        (["steps", 0, "name"], "x" * 700, "name: must be text"),
        (["steps", 0, "colour"], 1, "unknown key 'colour'"),
        (["steps", 0, "base_hours"], [1, 2], "base_hours: must be three numbers"),
        (["steps", 0, "base_hours"], [1, 2, True], "base_hours: must be three numbers"),
        (["steps", 0, "base_hours"], [3, 2, 4], "must not fall"),
        (["steps", 0, "base_hours"], [0, 1, 2], "base_hours must be above zero"),
        (["steps", 0, "base_hours"], [0, 1, 1e9], "between 0 and"),
        (["steps", 0, "base_hours"], [0, 1, float("nan")], "between 0 and"),
        (["steps", 0, "base_hours"], [0, 1, float("inf")], "between 0 and"),
        (["steps", 0, "base_hours"], [0, 1, 10**400], "between 0 and"),
        (["steps", 0, "per_driver"], {"weight": [1, 1, 1]}, "unknown key 'weight'"),
        (["steps", 0, "only_with"], ["weight"], "only_with must be one of"),
        (["assumed_drivers", "joints", "range"], [7, 3, 14], "assumed_drivers.joints.range"),
        (["levels", 1, "steps"], ["nowhere"], r"levels\[1\] \(watch\): steps names 'nowhere'"),
        (["levels", 1, "steps"], [["test"]], "steps names"),
        (["levels", 1, "steps"], ["test", "test"], "twice"),
        (["levels", 1, "code"], "leave", "stands twice"),
        (["levels", 1, "look_again_months"], 0, "look_again_months"),
        (["levels", 1, "look_again_months"], 1.5, "look_again_months"),
        (["levels", 1, "joint_scope"], "none", "since the level has steps"),
        (["levels", 1, "joint_scope"], "most", "joint_scope must be one of"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(path, value, message):
    with pytest.raises(ValueError, match=message):
        parse_table(changed(path, value))


@pytest.mark.parametrize("key", ["schema", "basis", "assumed_drivers", "steps", "levels"])
def test_a_missing_part_is_named(key):
    table = {name: value for name, value in DEFAULTS.items() if name != key}
    with pytest.raises(ValueError, match=f"{key} missing"):
        parse_table(table)


def test_waits_rates_and_conditions_may_be_left_out():
    step = {k: v for k, v in DEFAULTS["steps"][0].items() if k not in ("wait_hours", "per_driver", "only_with")}
    first = parse_table(changed(["steps", 0], step)).level("make_good").steps[0]
    assert (first.wait_hours.high, dict(first.per_driver), first.only_with) == (0.0, {}, ())


def test_the_defaults_say_that_they_are_expert_defaults_and_on_what_ground():
    table = parse_table(DEFAULTS)
    assert "not measured" in table.status
    assert "Neiro 2003" in table.grounds
    assert table.cautions
    assert all(step.grounds for level in table.levels for step in level.steps)


_junk = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None)
@given(key=st.sampled_from(sorted(DEFAULTS)), junk=_junk)
def test_junk_is_refused_and_never_breaks_the_reader(key, junk):
    assume(junk != 1)  # the one value here that a table may hold: schema 1
    with pytest.raises(ValueError):
        parse_table(changed([key], junk))


@settings(deadline=None)
@given(field=st.sampled_from(sorted(DEFAULTS["steps"][5])), junk=_junk)
def test_junk_in_a_step_is_refused_or_is_a_whole_step(field, junk):
    try:
        table = parse_table(changed(["steps", 5, field], junk))
    except ValueError as refused:
        assert "steps" in str(refused)
    else:
        assert len(table.level("secure").steps) == len(DEFAULTS["levels"][2]["steps"])
