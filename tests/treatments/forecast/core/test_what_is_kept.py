"""Counts week by week, who and what decides the end: against counting by hand."""

from __future__ import annotations

import numpy as np
import pytest

from treatments.forecast.kept import last_shares, ready_counts, share_of_lateness

READY = np.array([[1.0, 5.0, 9.0], [2.0, 6.0, 6.0], [1.0, 2.0, np.inf], [3.0, 8.0, 4.0]])


def test_counts_by_each_moment_are_quantiles_over_trials():
    # Ready by 4: 1, 1, 2, 2 objects; by 6: 2, 3, 2, 2; by 9: 3, 3, 2, 3.
    found = ready_counts(READY, [0, 4, 6, 9], [0.25, 0.5, 0.75, 1.0])
    assert found.tolist() == [[0, 0, 0, 0], [1, 1, 2, 2], [2, 2, 2, 3], [2, 3, 3, 3]]
    assert ready_counts(np.zeros((5, 0)), [1, 2], [0.5]).tolist() == [[0.0], [0.0]]


def test_who_ends_last_and_a_tie_is_shared():
    # Trial 1: the third; 2: second and third share; 3: the third, which never ends; 4: the second.
    assert last_shares(READY) == pytest.approx([0, 1.5 / 4, 2.5 / 4])
    assert last_shares(np.zeros((5, 0))).size == 0


def test_shares_of_lateness_add_up_to_all_that_is_late():
    late = np.array([[True, False], [True, True]])
    cause = np.array([[0, 1], [2, 2]], np.int16)
    assert share_of_lateness(late, cause, 4) == pytest.approx([1 / 3, 0, 2 / 3, 0])
    assert share_of_lateness(~late & False, cause, 4).tolist() == [0, 0, 0, 0]


def test_one_axis_alone_is_refused():
    for ask in (lambda: ready_counts([1.0], [1], [0.5]), lambda: last_shares([1.0])):
        with pytest.raises(ValueError, match="trials by objects"):
            ask()
