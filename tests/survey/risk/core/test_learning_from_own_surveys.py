"""The department's own surveys against the published lives."""

import numpy as np
import pytest

from survey.risk.inputs import Assumptions
from survey.risk.learning import learn_rates
from survey.risk.objects import score_joints
from survey.risk.stages import MISCLASSIFICATION, PRIORS, StagePrior, fit_panel, transition_matrix
from tests.survey.risk.core.joints import certainly, some_joints

MIDDLE = PRIORS["middle"]


def looks(rates, joints, *, seed=4, ages=(0.0, 6.0, 12.0, 18.0)):
    """Rows of joints of known stages at equal looks, drawn from the chain."""
    rng = np.random.default_rng(seed)
    step = transition_matrix(rates, ages[1] - ages[0])
    state = rng.integers(0, 4, joints)
    seen = [state]
    for _ in ages[1:]:
        state = np.array([rng.choice(5, p=step[one]) for one in state])
        seen.append(state)
    return np.repeat(np.arange(joints), len(ages)), np.tile(ages, joints), np.stack(seen, axis=1).reshape(-1)


def test_exact_openings_of_failing_joints():
    """Closed form (gamma prior, exponential life): (openings + k q0) / (time at risk + k), the prior's share
    k / (time + k)."""
    life = np.array([3.0, 5.0, 9.0, 2.5])
    subject, time = np.repeat(np.arange(4), 2), np.stack([np.zeros(4), life], axis=1).reshape(-1)
    got = learn_rates(
        subject, time, np.tile([3, 4], 4), prior=MIDDLE, pseudo_years=30, exact_open=True, misclassification=None
    )
    assert got.rates[3] == pytest.approx((4 + 30 / 8) / (life.sum() + 30), rel=1e-7)
    assert got.prior_share[3] == pytest.approx(30 / (life.sum() + 30), rel=1e-6)
    assert got.rates[:3] == pytest.approx(MIDDLE.rates[:3], rel=1e-7)  # nothing seen of these
    assert got.prior_share[:3] == pytest.approx([1, 1, 1], rel=1e-6)
    assert got.joints == 4


def test_some_openings_exact_and_others_found():
    """Closed form for what is exact, q exp(-q t), and for what was found open, 1 - exp(-q t): the gradient of their
    sum and of the prior is nought at the answer."""
    life = np.array([3.0, 5.0, 9.0, 2.5])
    exact = np.array([True, True, False, False])
    subject, time = np.repeat(np.arange(4), 2), np.stack([np.zeros(4), life], axis=1).reshape(-1)
    flags = np.stack([np.zeros(4, bool), exact], axis=1).reshape(-1)
    got = learn_rates(
        subject, time, np.tile([3, 4], 4), prior=MIDDLE, pseudo_years=30, exact_open=flags, misclassification=None
    )
    q, t = got.rates[3], life
    slope = np.where(exact, 1 / q - t, t / np.expm1(q * t)).sum() + 30 * MIDDLE.rates[3] / q - 30
    assert slope == pytest.approx(0, abs=1e-4)


def test_the_interval_of_a_mean_life_holds_its_middle():
    subject, time, state = looks(MIDDLE.rates, 80)
    got = learn_rates(subject, time, state, prior=MIDDLE, misclassification=None)
    low, middle, high = got.life()
    assert middle == pytest.approx((1 / got.rates).sum()) and low < middle < high
    assert got.first.sum() == pytest.approx(1)


def test_many_looks_leave_the_prior_behind():
    true = PRIORS["pessimistic"].rates
    subject, time, state = looks(true, 600)
    got = learn_rates(subject, time, state, prior=PRIORS["optimistic"], misclassification=None)
    alone = fit_panel(subject, time, state, allowed=np.eye(5, k=1))
    assert got.rates == pytest.approx(np.diagonal(alone.rates, 1), rel=0.06)
    assert np.all(got.prior_share < 0.05)
    assert np.all(np.abs(np.log(got.rates / true)) < 4 * got.deviation)


def test_a_heavier_prior_holds_more():
    subject, time, state = looks(PRIORS["pessimistic"].rates, 25)
    light, heavy = (learn_rates(subject, time, state, prior=MIDDLE, pseudo_years=years) for years in (2, 20_000))
    assert np.all(heavy.prior_share > light.prior_share)
    assert heavy.rates == pytest.approx(MIDDLE.rates, rel=0.02)
    assert light.rates.sum() > heavy.rates.sum()


def test_learned_rates_are_scored_by():
    subject, time, state = looks(PRIORS["pessimistic"].rates, 60)
    learned = learn_rates(subject, time, state, prior=MIDDLE, misclassification=MISCLASSIFICATION)
    belief = learned.as_prior()
    assert belief.rates == pytest.approx(learned.rates)
    assert "60 joints" in belief.grounds
    joint = some_joints(class_probabilities=certainly("cellulose_nitrate", 1))
    by_survey = score_joints(joint, Assumptions(priors=(belief,))).opens[0, 0, 0]
    by_prior = score_joints(joint, Assumptions(priors=(MIDDLE,))).opens[0, 0, 0]
    assert by_survey > by_prior


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(ValueError, match="pseudo_years"):
        learn_rates([1, 1], [0, 1], [0, 1], prior=MIDDLE, pseudo_years=0)
    with pytest.raises(ValueError, match="seen twice"):
        learn_rates([1, 2], [0, 1], [0, 1], prior=MIDDLE)
    with pytest.raises(ValueError, match="state goes from 2 to 1"):
        learn_rates([1, 1], [0, 1], [2, 1], prior=MIDDLE, misclassification=None)
    with pytest.raises(ValueError, match="stays"):
        StagePrior("x", 10.0, "", (1.0, 2.0))
