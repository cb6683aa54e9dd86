"""Adhesives shared within restorations and workshops, against every possibility written out."""

import itertools
import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.risk.identification import CLASSES, DEFAULT_PRIOR, NITRATE, coded, joint_posteriors
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.reasons import BASIS_WORDS
from survey.risk.workshops import Findings, Sharing, bases, contains, governing, habits, identify, spoken

LONG_AGO = [1955.0, 1955.0]


def small(seed: int, sharing: Sharing) -> tuple[Findings, list[np.ndarray]]:
    """Three classes; two restorations of one workshop and one of nobody's; and all answers by enumeration."""
    rng = np.random.default_rng(seed)
    findings = Findings(
        restoration=np.array([0, 1, 0, 2, 1]),
        workshop=np.array([0, 0, -1]),
        own=np.log(rng.uniform(0.05, 1, (5, 3))),
        dated=np.log(rng.uniform(0.05, 1, (3, 3))),
        prior=rng.dirichlet(np.ones(3)),
    )
    return findings, enumerated(findings, sharing)


def enumerated(findings: Findings, sharing: Sharing) -> list[np.ndarray]:
    """Marginals of rows, restorations and workshops by the sum over all 3 ** 9 combinations."""
    prior, a, b = findings.prior, sharing.within_restoration, sharing.within_workshop
    spread = prior * np.exp(findings.dated)
    spread = spread / spread.sum(axis=1, keepdims=True)
    rows, restorations, workshops = np.zeros((5, 3)), np.zeros((3, 3)), np.zeros((1, 3))
    for habit, *rest in itertools.product(range(3), repeat=9):
        of, classes = rest[:3], rest[3:]
        weight = prior[habit]
        for r, shop in enumerate(findings.workshop):
            share = b if shop >= 0 else 0.0
            weight *= (share * (of[r] == habit) + (1 - share) * prior[of[r]]) * np.exp(findings.dated[r, of[r]])
        for e, r in enumerate(findings.restoration):
            weight *= (a * (classes[e] == of[r]) + (1 - a) * spread[r, classes[e]]) * np.exp(
                findings.own[e, classes[e]]
            )
        workshops[0, habit] += weight
        restorations[np.arange(3), of] += weight
        rows[np.arange(5), classes] += weight
    return [marginal / marginal.sum(axis=1, keepdims=True) for marginal in (rows, restorations, workshops)]


@pytest.mark.parametrize("sharing", [Sharing(), Sharing(1.0, 1.0)])
def test_a_part_of_a_collection_comes_out_as_in_the_whole(sharing):
    """Habits added up from two halves are those of the whole, and identify each half as the whole is."""
    findings, _ = small(1, sharing)
    aged = np.log(np.random.default_rng(9).uniform(0.1, 1, (5, 3)))
    whole = identify(findings, sharing, visits=aged)
    halves = []
    for some in ([0, 2], [1]):
        rows = np.flatnonzero(np.isin(findings.restoration, some))
        place = np.full(3, -1)
        place[some] = np.arange(len(some))
        part = Findings(
            place[findings.restoration[rows]], findings.workshop[some], findings.own[rows], findings.dated[some],
            findings.prior,
        )  # fmt: skip
        halves.append((rows, some, part))
    said = sum(spoken(part, sharing, 1, visits=aged[rows]) for rows, _, part in halves)
    shops = habits(findings.prior, said)
    assert shops == pytest.approx(whole.workshops, rel=1e-12)
    for rows, some, part in halves:
        got = identify(part, sharing, visits=aged[rows], workshops=shops)
        assert got.rows == pytest.approx(whole.rows[rows], rel=1e-12)
        assert got.restorations == pytest.approx(whole.restorations[some], rel=1e-12)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sharing", [Sharing(), Sharing(0.3, 0.95), Sharing(1.0, 1.0), Sharing(0.0, 0.0)])
def test_small_cases_against_every_possibility(seed, sharing):
    findings, (rows, restorations, workshops) = small(seed, sharing)
    got = identify(findings, sharing)
    assert got.rows == pytest.approx(rows, rel=1e-10)
    assert got.restorations == pytest.approx(restorations, rel=1e-10)
    assert got.workshops == pytest.approx(workshops, rel=1e-10)


def test_a_row_is_made_of_following_and_not_following():
    findings, _ = small(7, Sharing())
    got = identify(findings, Sharing())
    of = got.restorations[findings.restoration]
    kept = ((1 - got.follows) * of).sum(axis=1, keepdims=True)
    assert got.rows == pytest.approx(of * got.follows + kept * got.otherwise, rel=1e-10)


def a_workshop(evidence: list[dict[str, str]], restoration: list[int], **sharing: float) -> np.ndarray:
    """Chance of cellulose nitrate of each joint, all restorations by one workshop about 1955."""
    chosen = Sharing(**sharing)
    count = max(restoration) + 1
    findings = Findings.of(
        coded(evidence, DEFAULT_TABLE), DEFAULT_TABLE, restoration=np.array(restoration),
        workshop=np.zeros(count, dtype=np.int64), years=np.tile(LONG_AGO, (count, 1)), prior=DEFAULT_PRIOR,
        sharing=chosen,
    )  # fmt: skip
    return identify(findings, chosen).rows[:, NITRATE]


def test_a_test_on_one_joint_moves_the_others_seen_or_not():
    untested = a_workshop([{}, {"look": "clear_flush"}, {}], [0, 0, 1])
    tested = a_workshop([{"nitrate_test": "deep_blue"}, {"look": "clear_flush"}, {}], [0, 0, 1])
    assert np.all(tested > untested)
    assert tested[0] > tested[1]
    assert tested[2] - untested[2] > 0.05  # another restoration, not looked at
    ruled_out = a_workshop([{"nitrate_test": "none"}, {}, {}], [0, 0, 1])
    assert np.all(ruled_out < untested)


@given(st.floats(0, 1), st.floats(0, 1))
@settings(deadline=None, max_examples=25)
def test_more_sharing_carries_a_test_further(less, more):
    low, high = sorted((less, more))
    by_restoration = [
        a_workshop([{"ftir": "cellulose_nitrate"}, {}], [0, 0], within_restoration=s)[1] for s in (low, high)
    ]
    by_workshop = [a_workshop([{"ftir": "cellulose_nitrate"}, {}], [0, 1], within_workshop=s)[1] for s in (low, high)]
    assert by_restoration[1] >= by_restoration[0] - 1e-12
    assert by_workshop[1] >= by_workshop[0] - 1e-12


def test_without_sharing_each_joint_stands_for_itself():
    evidence = [{"uv": "greenish_yellow"}, {"solvent": "water"}, {}]
    got = a_workshop(evidence, [0, 1, 2], within_restoration=0.0, within_workshop=0.0)
    apart = joint_posteriors(DEFAULT_PRIOR, evidence, table=DEFAULT_TABLE, dates=np.tile(LONG_AGO, (3, 1)))
    assert got == pytest.approx(apart[:, NITRATE], rel=1e-10)


def test_what_visits_saw_speaks_for_other_restorations_of_the_workshop_alone():
    """Restoration 0 is told what was seen on restoration 1, as if it were a finding there; and nothing of its own."""
    findings, _ = small(11, Sharing())
    visits = np.log(np.random.default_rng(1).uniform(0.1, 1, (5, 3)))
    got = identify(findings, Sharing(), visits=visits)
    of_one = (findings.restoration == 1)[:, None]
    elsewhere = replace(findings, own=findings.own + np.where(of_one, visits, 0.0))
    assert got.restorations[0] == pytest.approx(identify(elsewhere, Sharing()).restorations[0], rel=1e-10)
    assert got.restorations[2] == pytest.approx(identify(findings, Sharing()).restorations[2], rel=1e-10)  # nobody's
    assert identify(findings, Sharing(), visits=np.zeros((5, 3))).rows == pytest.approx(
        identify(findings, Sharing()).rows
    )


def test_many_looks_by_one_eye_are_less_than_as_many_findings():
    """A cluster of n with correlation r is worth n / (1 + (n - 1) r) (Kish 1965, Survey Sampling, design effect)."""
    look = {"look": "yellow_shrunk_film"}
    worth = [a_workshop([look] * 5, [0] * 5, within_restoration=1.0, alike_looks=r)[0] for r in (0.0, 0.5, 1.0)]
    one = a_workshop([look], [0], within_restoration=1.0)[0]
    assert one == pytest.approx(worth[2], rel=1e-9)  # five times the same look is one look
    assert worth[2] < worth[1] < worth[0]


def test_a_guess_a_date_and_a_look_that_agree_are_not_three_findings():
    seen = {"guess": "cellulose_nitrate", "look": "yellow_shrunk_film"}
    dates = np.array([LONG_AGO])
    apart, default, same = (
        joint_posteriors(DEFAULT_PRIOR, [seen], table=DEFAULT_TABLE, dates=dates, related=share)[0, NITRATE]
        for share in (0.0, 0.5, 1.0)
    )
    only_look = joint_posteriors(DEFAULT_PRIOR, [{"look": seen["look"]}], table=DEFAULT_TABLE)[0, NITRATE]
    assert only_look == pytest.approx(same, rel=1e-12)
    assert same < default < apart


def test_two_adhesives_in_one_joint():
    evidence = [{"ftir": "pvac"}, {"ftir": "cellulose_nitrate"}, {"ftir": "epoxy"}]
    chosen = Sharing()
    findings = Findings.of(
        coded(evidence, DEFAULT_TABLE), DEFAULT_TABLE, restoration=np.array([0, 0, 1]),
        workshop=np.array([-1, -1]), years=np.full((2, 2), np.nan), prior=DEFAULT_PRIOR, sharing=chosen,
    )  # fmt: skip
    got = identify(findings, chosen)
    held = governing(got, np.array([0, 0, 1]), secondary=[False, True, False], share=0.25)
    assert held.classes.sum(axis=1) == pytest.approx([1, 1])
    assert held.classes[0] == pytest.approx(0.75 * got.rows[0] + 0.25 * got.rows[1])
    assert held.classes[1] == pytest.approx(got.rows[2])
    any_of = contains(got, np.array([0, 0, 1]), "cellulose_nitrate")
    assert any_of[0] == pytest.approx(1 - (1 - got.rows[0, NITRATE]) * (1 - got.rows[1, NITRATE]))
    with pytest.raises(ValueError, match="joint must have"):
        governing(got, np.array([0, 0, 1]), secondary=[True, True, False])


def test_every_class_says_what_it_rests_on():
    evidence = [{"ftir": "pvac"}, {"look": "clear_soft"}, {}, {}, {}]
    codes = coded(evidence, DEFAULT_TABLE)
    findings = Findings.of(
        codes, DEFAULT_TABLE, restoration=np.array([0, 0, 1, 2, 3]), workshop=np.array([0, 0, -1, -1]),
        years=np.array([LONG_AGO, LONG_AGO, LONG_AGO, [np.nan, np.nan]]), prior=DEFAULT_PRIOR, sharing=Sharing(),
    )  # fmt: skip
    got = bases(codes, DEFAULT_TABLE, findings).tolist()
    assert got == ["ftir", "restoration", "workshop", "date", "none"]
    assert set(got) <= BASIS_WORDS.keys()


def test_three_hundred_thousand_joints_in_seconds_and_in_any_order():
    rng = np.random.default_rng(2)
    joints, restorations, workshops = 300_000, 110_000, 400
    restoration = rng.integers(0, restorations, joints)
    findings = Findings(
        restoration, rng.integers(-1, workshops, restorations), np.log(rng.uniform(0.02, 1, (joints, len(CLASSES)))),
        np.zeros((restorations, len(CLASSES))), DEFAULT_PRIOR,
    )  # fmt: skip
    start = time.process_time()
    got = identify(findings, Sharing())
    assert time.process_time() - start < 10
    assert np.allclose(got.rows.sum(axis=1), 1)
    order = rng.permutation(joints)
    mixed = Findings(restoration[order], findings.workshop, findings.own[order], findings.dated, findings.prior)
    assert np.allclose(identify(mixed, Sharing()).rows, got.rows[order], rtol=1e-6, atol=0)


def test_nothing_found_on_nothing():
    findings = Findings(
        np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros((0, 3)), np.ones(3) / 3
    )
    got = identify(findings, Sharing())
    assert got.rows.shape == (0, 3)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"restoration": np.array([0, 9, 0, 2, 1])}, "restoration"),
        ({"workshop": np.array([0, -2, 0])}, "workshop"),
        ({"own": np.full((5, 3), -np.inf)}, "own"),
        ({"dated": np.zeros((2, 3))}, "dated"),
        ({"prior": np.array([0.5, 0.5, 0.0])}, "prior"),
    ],
)
def test_findings_that_cannot_be_are_refused_by_name(change, name):
    findings, _ = small(0, Sharing())
    with pytest.raises(ValueError, match=name):
        Findings(**{**{field: getattr(findings, field) for field in Findings.__dataclass_fields__}, **change})


@pytest.mark.parametrize("name", ["within_restoration", "within_workshop", "alike_looks", "handling", "frailty"])
def test_shares_that_cannot_be_are_refused_by_name(name):
    with pytest.raises(ValueError, match=name):
        Sharing(**{name: -0.1})
