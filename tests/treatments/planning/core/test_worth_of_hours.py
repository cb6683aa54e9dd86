"""Benefit against hours: exact against trying every choice, and against the worked example of the knapsack."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treatments.planning.worth import worth_of_hours


def thing(name: str, levels: list[tuple[int, float]], mandatory: bool = False) -> dict:
    made = [{"name": f"{name}{n}", "benefit": b, "steps": [{"q": q}]} for n, (q, b) in enumerate(levels)]
    return {"id": name, "mandatory": mandatory, "levels": made}


# Four groups of (hours, benefit), at most one of each; optima by trying all choices: 15 at 6, 24 at 10, 31 at 14.
GROUPS = {
    "A": [(2, 5), (4, 9), (7, 12)], "B": [(3, 8), (5, 10)], "C": [(1, 2), (3, 7), (6, 13), (8, 14)],
    "D": [(4, 6), (6, 11)],
}  # fmt: skip


@pytest.mark.parametrize(("budget", "benefit"), [(6, 15), (10, 24), (14, 31)])
def test_the_worked_example(budget, benefit):
    found = worth_of_hours([thing(name, levels) for name, levels in GROUPS.items()], budget / 4, {})
    assert found.at_budget.share * (12 + 10 + 14 + 11) == pytest.approx(benefit)
    assert found.after(budget / 4) * 47 == pytest.approx(benefit) and found.most == (7 + 5 + 8 + 6) / 4


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 9)), min_size=1, max_size=3), st.booleans()),
        min_size=1, max_size=4,
    ),
    st.integers(0, 24),
)  # fmt: skip
def test_the_whole_curve_is_the_best_of_every_choice(things, budget):
    objects = [thing(f"o{n}-", levels, must) for n, (levels, must) in enumerate(things)]
    found = worth_of_hours(objects, budget / 4, {})
    choices = [[*levels, *([] if must else [(0, 0)])] for levels, must in things]
    sums = [tuple(map(sum, zip(*chosen, strict=True))) for chosen in product(*choices)]
    greatest = max(b for _, b in sums) or 1.0
    for point in found.curve:
        best = max((b for q, b in sums if q <= point.hours * 4), default=None)
        assert best is not None and point.share == pytest.approx(best / greatest)
    assert (found.at_budget is None) == (min(q for q, _ in sums) > budget)
    assert np.all(np.diff([point.share for point in found.curve]) >= -1e-12)


def test_what_counts_now_is_shown_and_what_would_change_is_named():
    objects = [thing("a", [(4, 10.0), (8, 12.0)]), thing("b", [(4, 9.0)])]
    found = worth_of_hours(objects, 2.0, {"a": "a1", "b": ""})
    assert (found.now.hours, found.now.share) == (2.0, pytest.approx(12 / 21))
    assert found.at_budget.share == pytest.approx(19 / 21) and found.gained == pytest.approx(7 / 21)
    assert found.changes == {"a": ("a1", "a0"), "b": ("", "b0")}


def test_nothing_offered_has_no_curve_and_a_negative_budget_is_refused():
    assert worth_of_hours([], 10, {}) is None and worth_of_hours([thing("a", [])], 10, {}) is None
    with pytest.raises(ValueError, match="budget"):
        worth_of_hours([thing("a", [(1, 1)])], -1, {})


def test_mandatory_objects_beyond_the_budget_leave_nothing_to_choose():
    found = worth_of_hours([thing("a", [(40, 1.0)], mandatory=True)], 5, {})
    assert (found.at_budget, found.least, found.changes, found.after(5)) == (None, 10.0, {}, None)
