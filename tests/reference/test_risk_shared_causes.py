"""The fast and the shared ways of scoring against closed forms and published numbers."""

import math

import numpy as np
import pytest

from survey.risk.bonds import normal_nodes
from survey.risk.carrying import ChainTable, carried_by_table
from survey.risk.drawing import _uniform
from survey.risk.stages import OPEN, PRIORS
from survey.risk.workshops import Findings, Sharing, identify


@pytest.mark.parametrize(
    ("elapsed", "stage", "chance"),
    [(1, 2, 0.004861), (1, 3, 0.117503), (5, 0, 0.000917), (5, 1, 0.010983), (5, 2, 0.092801), (5, 3, 0.464739)],
)
def test_the_default_chain_by_digits_of_time(elapsed, stage, chance):
    """Reckoned apart from this code with scipy.linalg.expm for stays of 15, 14, 12 and 8 years."""
    rates = PRIORS["middle"].rates
    got = carried_by_table(np.eye(5)[[stage]], ChainTable.of(rates, 10.0), [float(elapsed)])
    assert got[0, OPEN] == pytest.approx(chance, abs=5e-7)


def test_four_equal_steps_are_a_gamma_distribution():
    """Erlang, k = 4, rate 0.1, 30 years: 1 - e^-3 (1 + 3 + 9/2 + 27/6) (closed form)."""
    got = carried_by_table(np.eye(5)[[0]], ChainTable.of([0.1] * 4, 30.0), [30.0])
    assert got[0, OPEN] == pytest.approx(1 - math.exp(-3) * 13, rel=1e-12)


@pytest.mark.parametrize(("power", "moment"), [(0, 1), (2, 1), (4, 3), (6, 15), (8, 105)])
def test_nodes_give_the_moments_of_a_normal(power, moment):
    """Five Gauss-Hermite nodes are exact for polynomials up to degree 9 (Abramowitz and Stegun 1964, 25.4.46)."""
    nodes, weights = normal_nodes(5)
    assert weights @ nodes**power == pytest.approx(moment, rel=1e-12)


def test_the_generator_gives_its_published_numbers():
    """splitmix64 from seed 1234567; first outputs as published with the reference code (from memory)."""
    published = (6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431)
    state = np.array([1234567], dtype=np.uint64)
    assert [_uniform(state) for _ in published] == [(number >> 11) * 2.0**-53 for number in published]


def test_two_joints_of_one_restoration_written_out():
    """Bayes' rule by hand: two classes at 0.5, sharing a = 0.8; one joint's finding is four times as likely in the
    first class. The restoration: 0.8 * 4 + 0.2 * 2.5 = 3.7 against 0.8 + 0.5 = 1.3, so 0.74. The other joint, on
    which nothing was found: 0.8 * 0.74 + 0.2 * 0.5 = 0.692. The joint itself: 4 * (0.8 * 0.5 + 0.2 * 0.5) against 0.5.
    """
    findings = Findings(
        np.zeros(2, np.int64), np.array([-1]), np.log([[4.0, 1.0], [1.0, 1.0]]), np.zeros((1, 2)), np.array([0.5, 0.5])
    )
    got = identify(findings, Sharing(within_restoration=0.8))
    assert got.restorations[0] == pytest.approx([0.74, 0.26], rel=1e-12)
    assert got.rows == pytest.approx(np.array([[0.8, 0.2], [0.692, 0.308]]), rel=1e-12)
