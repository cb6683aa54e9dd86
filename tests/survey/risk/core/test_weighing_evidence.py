"""Evidence of an adhesive weighed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.risk.adhesives import ADHESIVES, in_order, speeds
from survey.risk.identification import (
    CLASSES,
    DEFAULT_PRIOR,
    UNKNOWN,
    EvidenceKind,
    date_likelihood,
    joint_posteriors,
    posterior,
)
from survey.risk.likelihoods import DEFAULT_TABLE

ANY = st.sampled_from([(kind.code, outcome) for kind in DEFAULT_TABLE.kinds.values() for outcome in kind.outcomes])
NAN = np.nan


@given(st.lists(ANY, max_size=5, unique_by=lambda item: item[0]))
def test_any_evidence_leaves_a_distribution_whatever_its_order(evidence):
    forward = joint_posteriors(DEFAULT_PRIOR, [dict(evidence)], table=DEFAULT_TABLE)[0]
    backward = joint_posteriors(DEFAULT_PRIOR, [dict(reversed(evidence))], table=DEFAULT_TABLE)[0]
    assert forward.sum() == pytest.approx(1)
    assert np.all(forward > 0)  # no single look excludes a class
    assert backward == pytest.approx(forward, rel=1e-9)


def test_evidence_not_sought_is_no_factor():
    assert posterior(DEFAULT_PRIOR, []) == pytest.approx(DEFAULT_PRIOR)
    got = joint_posteriors(DEFAULT_PRIOR, [{"look": UNKNOWN}, {}], table=DEFAULT_TABLE, dates=[[NAN, NAN]] * 2)
    assert got == pytest.approx(np.tile(DEFAULT_PRIOR, (2, 1)))


@pytest.mark.parametrize("weaker", [("guess", "record"), ("guess", "ftir")])
@pytest.mark.parametrize("adhesive", CLASSES)
def test_a_stronger_basis_says_more(weaker, adhesive):
    weak, strong = (
        joint_posteriors(DEFAULT_PRIOR, [{kind: adhesive}], table=DEFAULT_TABLE)[0, CLASSES.index(adhesive)]
        for kind in weaker
    )
    assert DEFAULT_PRIOR[CLASSES.index(adhesive)] < weak < strong


def test_each_joint_may_have_its_own_prior():
    priors = np.tile(DEFAULT_PRIOR, (2, 1))
    priors[1] = np.eye(len(CLASSES))[0] * 0.9 + 0.1 / len(CLASSES)
    got = joint_posteriors(priors, [{}, {}], table=DEFAULT_TABLE)
    assert got[1, 0] > got[0, 0]


def test_a_half_known_date_stands_for_its_year():
    assert date_likelihood(1950, NAN) == pytest.approx(date_likelihood(1950, 1950))
    assert np.isnan(date_likelihood(NAN, NAN)).all()
    with pytest.raises(ValueError, match="latest"):
        date_likelihood(1960, 1950)


def test_every_kind_of_evidence_says_its_grounds():
    for kind in DEFAULT_TABLE.kinds.values():
        assert kind.grounds.startswith("Expert default")
        assert kind.chances.sum(axis=0) == pytest.approx(np.ones(len(CLASSES)))


@pytest.mark.parametrize(
    ("prior", "likelihoods", "name"),
    [
        ([-0.1, 1.1], [[1, 1]], "prior"),
        ([0.0, 0.0], [[1, 1]], "prior"),
        ([0.5, 0.5], [[1, 1, 1]], "likelihoods"),
        ([0.5, 0.5], [[-1, 1]], "likelihoods"),
        ([0.5, 0.5], [[np.nan, 1]], "likelihoods"),
        ([0.5, 0.5], [[1, 0], [0, 1]], "likelihoods leave no class"),
    ],
)
def test_weights_that_cannot_be_are_refused_by_name(prior, likelihoods, name):
    with pytest.raises(ValueError, match=name):
        posterior(prior, likelihoods)


@pytest.mark.parametrize(
    ("evidence", "name"), [({"smell": "acid"}, "evidence must be of a kind"), ({"uv": "pink"}, "outcome of uv")]
)
def test_evidence_that_is_not_known_is_refused_by_name(evidence, name):
    with pytest.raises(ValueError, match=name):
        joint_posteriors(DEFAULT_PRIOR, [evidence], table=DEFAULT_TABLE)


def test_a_table_that_is_no_distribution_is_refused():
    with pytest.raises(ValueError, match="chances of uv"):
        EvidenceKind("uv", ("none", "some"), np.full((2, len(CLASSES)), 0.6), "")
    with pytest.raises(ValueError, match="chances of uv"):
        EvidenceKind("uv", ("none",), np.full((2, len(CLASSES)), 0.5), "")


def test_adhesives_stand_in_the_order_of_the_classes():
    assert [adhesive.code for adhesive in in_order(ADHESIVES[::-1])] == list(CLASSES)
    assert speeds(ADHESIVES[::-1])[CLASSES.index("cellulose_nitrate")] == 1
    with pytest.raises(ValueError, match="adhesives"):
        in_order([*ADHESIVES[1:], ADHESIVES[1]])
