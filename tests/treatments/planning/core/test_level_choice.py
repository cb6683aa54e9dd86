"""Level choice under one budget of hours: exact against trying everything, and a curve that only rises."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from treatments.planning.knapsack import choose_levels

# Four objects, (hours, benefit) of their levels; optima by trying all combinations.
GROUPS = [[(2, 5), (4, 9), (7, 12)], [(3, 8), (5, 10)], [(1, 2), (3, 7), (6, 13), (8, 14)], [(4, 6), (6, 11)]]
QUARTERS = [[h * 4 for h, _ in group] for group in GROUPS]
BENEFITS = [[b for _, b in group] for group in GROUPS]


@pytest.mark.parametrize(("budget", "optimum"), [(6, 15), (10, 24), (14, 31)])
def test_four_objects_against_all_combinations_written_out(budget, optimum):
    found = choose_levels(QUARTERS, BENEFITS, budget * 4)
    assert found.benefit == optimum
    assert found.quarters <= budget * 4
    assert sum(BENEFITS[i][level] for i, level in enumerate(found.levels) if level is not None) == optimum


def test_the_curve_holds_the_optimum_of_every_smaller_budget():
    curve = choose_levels(QUARTERS, BENEFITS, 14 * 4).curve
    assert [curve[h * 4] for h in (0, 1, 6, 10, 14)] == [0, 2, 15, 24, 31]
    assert np.all(np.diff(curve) >= 0)


def test_a_budget_for_everything_takes_the_best_of_everything():
    assert choose_levels(QUARTERS, BENEFITS, 10**9).benefit == sum(map(max, BENEFITS))


def test_a_mandatory_object_takes_a_level_even_where_another_is_worth_more():
    found = choose_levels([[8], [8]], [[1], [100]], 8, mandatory=[True, False])
    assert found.levels == (0, None) and found.feasible


def test_mandatory_objects_that_do_not_fit_are_told():
    found = choose_levels([[8], [8]], [[1], [1]], 12, mandatory=[True, True])
    assert not found.feasible and found.levels == (None, None) and np.isnan(found.curve).all()


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (([[1]], [], 3), "benefits"),
        (([[1]], [[1, 2]], 3), "benefits"),
        (([[1]], [[-1]], 3), "benefits"),
        (([[0.5]], [[1]], 3), "quarters"),
        (([[-1]], [[1]], 3), "quarters"),
        (([[1]], [[1]], -1), "budget"),
        (([[10**8]] * 1000, [[1]] * 1000, 10**9), "budget"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(arguments, named):
    with pytest.raises(ValueError, match=named):
        choose_levels(*arguments)


def test_nothing_to_choose():
    assert choose_levels([], [], 0).benefit == 0
    assert choose_levels([[]], [[]], 8).levels == (None,)


levels = st.lists(
    st.tuples(
        st.integers(0, 9),
        st.integers(0, 20),
    ),
    max_size=3,
)


@given(st.lists(st.tuples(levels, st.booleans()), max_size=4), st.integers(0, 30))
def test_no_combination_is_better(objects, budget):
    options = [[*range(len(group)), *([] if must else [None])] for group, must in objects]
    worth = [
        sum(objects[i][0][n][1] for i, n in enumerate(picked) if n is not None)
        for picked in product(*options)
        if sum(objects[i][0][n][0] for i, n in enumerate(picked) if n is not None) <= budget
    ]
    found = choose_levels(
        [[q for q, _ in g] for g, _ in objects],
        [[b for _, b in g] for g, _ in objects],
        budget,
        mandatory=[must for _, must in objects],
    )
    assert found.feasible == bool(worth)
    assert found.benefit == max(worth, default=0)
