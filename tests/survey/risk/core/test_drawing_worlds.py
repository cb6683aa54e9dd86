"""Draws of all that is not known: intervals, the first few, ties."""

from dataclasses import replace

import numpy as np
import pytest

from survey.risk.adhesives import speeds
from survey.risk.bonds import Bonds
from survey.risk.draws import Doubt, among_first, draw_chances, draw_worlds, intervals, tied_groups
from survey.risk.identification import DEFAULT_PRIOR
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.pace import Pace, class_evidence, log_paces, pace_evidence, years_at
from survey.risk.passing import Way, passages
from survey.risk.stages import PRIORS, neighbour_misclassification
from survey.risk.together import score_together
from survey.risk.workshops import Findings, Sharing, governing, identify
from tests.survey.risk.core.joints import a_load, some_joints
from tests.survey.risk.core.test_joints_that_share_causes import ties
from tests.survey.risk.core.test_scoring_objects import a_crowd

CHOSEN = Assumptions()
SURE = Doubt(0.0, 0.0, 0.0)
ONE = Assumptions(priors=(PRIORS["middle"],))


def a_collection(seed: int = 1, joints: int = 60, objects: int = 12) -> tuple[JointInputs, list[int]]:
    inputs = a_crowd(joints, objects, seed)
    index = np.sort(inputs.object_index)
    restoration = 2 * index + np.arange(joints) % 2
    rng = np.random.default_rng(seed)
    light = a_load(joints, mass_kg=0.03)
    stages = np.where(rng.random((joints, 2)) < 0.4, -1, rng.integers(0, 3, (joints, 2)))
    return inputs.changed(object_index=index, load=light, visit_stages=stages), restoration.tolist()


KEYS = np.arange(100, 112, dtype=np.uint64)


def test_the_mean_of_draws_is_the_exact_chance():
    """With the assumed values taken for sure: sampling against the sum over everything."""
    inputs, restoration = a_collection()
    tied = ties(inputs, restoration, seed=3)
    worlds = draw_worlds(np.random.default_rng(5), ONE, draws=4000, doubt=SURE)
    chances = draw_chances(inputs, tied, worlds, KEYS, ONE)
    exact = score_together(inputs, tied, ONE).objects.middle[:, -1]
    noise = chances.std(axis=1) / np.sqrt(4000)
    assert np.all(np.abs(chances.mean(axis=1) - exact) < 4 * noise + 0.004)


def test_one_habit_for_a_workshop_leaves_the_mean_and_ties_its_objects():
    """One restoration of each object, all by one workshop: means as without, but objects rise and fall together."""
    inputs, _ = a_collection()
    none = inputs.changed(visit_stages=np.full_like(inputs.visit_stages, -1), age_now=np.full(60, 30.0))
    chosen, of = Sharing(within_workshop=0.9, within_restoration=0.95), none.object_index
    findings = Findings(of, np.zeros(12, np.int64), np.zeros((60, 12)), np.zeros((12, 12)), DEFAULT_PRIOR)
    found = identify(findings, chosen)
    tied = Bonds.of(found, governing(found, np.arange(60)), of, chosen, findings=findings)
    made = []
    for shops in (None, found.workshops):
        worlds = draw_worlds(np.random.default_rng(2), ONE, draws=6000, doubt=SURE, workshops=shops)
        made.append(draw_chances(none, tied, worlds, KEYS, ONE))
    apart, together = made
    assert together.mean(axis=1) == pytest.approx(apart.mean(axis=1), abs=0.03)
    assert together.sum(axis=0).std() > 1.3 * apart.sum(axis=0).std()


def test_where_all_work_follows_the_habit_every_object_of_a_draw_holds_by_the_same():
    """Twelve equal objects seen sound today: nothing but the adhesive differs from draw to draw."""
    chosen = Sharing(within_restoration=1.0, within_workshop=1.0, frailty=0.0, handling=0.0)
    sure = replace(ONE, misclassification=neighbour_misclassification(5, 0.0), age_trust=0.0)
    equal = some_joints(
        12, object_count=12, object_index=np.arange(12), visit_stages=np.zeros((12, 1), np.int64), load=a_load(12)
    )
    findings = Findings(np.arange(12), np.zeros(12, np.int64), np.zeros((12, 12)), np.zeros((12, 12)), DEFAULT_PRIOR)
    found = identify(findings, chosen)
    tied = Bonds.of(found, governing(found, np.arange(12)), np.arange(12), chosen, findings=findings)
    worlds = draw_worlds(np.random.default_rng(2), sure, draws=300, doubt=SURE, workshops=found.workshops)
    chances = draw_chances(equal, tied, worlds, KEYS, sure)
    assert np.mean(np.ptp(chances, axis=0) < 1e-6) > 0.97  # a stage is still mistaken once in a thousand
    assert np.ptp(chances) > 0.01


def test_work_of_known_workshops_is_drawn_alike_in_whatever_batch_and_whoever_is_added():
    inputs, restoration = a_collection()
    shop = np.arange(24) % 3
    findings = Findings(np.array(restoration), shop, np.zeros((60, 12)), np.zeros((24, 12)), DEFAULT_PRIOR)
    found = identify(findings, Sharing())
    tied = Bonds.of(found, governing(found, np.arange(60)), np.array(restoration), Sharing(), findings=findings)

    def worlds(shops, keys):
        named = np.array(keys, dtype=np.uint64)
        return draw_worlds(np.random.default_rng(5), CHOSEN, draws=40, workshops=shops, workshop_keys=named)

    before = worlds(found.workshops, [7, 8, 9])
    whole = draw_chances(inputs, tied, before, KEYS, CHOSEN)
    more = worlds(np.vstack([found.workshops, DEFAULT_PRIOR]), [7, 8, 9, 10])
    assert np.array_equal(more.habits[:, :3], before.habits) and more.seed == before.seed
    rows = np.flatnonzero(np.isin(inputs.object_index, np.arange(6, 12)))
    some = inputs.only(rows)
    some = some.changed(object_count=6, object_index=some.object_index - 6)
    few = replace(
        tied, restoration=tied.restoration[rows], follows=tied.follows[rows], otherwise=tied.otherwise[rows],
        depends_on=tied.depends_on[rows],
    )  # fmt: skip
    assert np.array_equal(draw_chances(some, few, more, KEYS[6:], CHOSEN), whole[6:])


def test_the_same_seed_gives_the_same_draws_in_whatever_batch():
    inputs, restoration = a_collection()
    tied = ties(inputs, restoration, seed=3)
    worlds = draw_worlds(np.random.default_rng(5), CHOSEN, draws=40)
    whole = draw_chances(inputs, tied, worlds, KEYS, CHOSEN)
    assert np.array_equal(whole, draw_chances(inputs, tied, worlds, KEYS, CHOSEN))
    for half in (np.arange(6), np.arange(6, 12)):
        rows = np.flatnonzero(np.isin(inputs.object_index, half))
        some = inputs.only(rows)
        some = some.changed(object_count=6, object_index=some.object_index - half[0])
        few = Bonds(
            tied.restoration[rows], tied.restorations, tied.follows[rows], tied.otherwise[rows], tied.depends_on[rows],
            tied.sharing,
        )  # fmt: skip
        assert np.array_equal(draw_chances(some, few, worlds, KEYS[half], CHOSEN), whole[half])
    other = draw_worlds(np.random.default_rng(6), CHOSEN, draws=40)
    assert not np.array_equal(draw_chances(inputs, tied, other, KEYS, CHOSEN), whole)


def test_intervals_hold_their_share_and_stand_in_order():
    inputs, restoration = a_collection()
    chances = draw_chances(
        inputs, ties(inputs, restoration), draw_worlds(np.random.default_rng(1), CHOSEN), KEYS, CHOSEN
    )
    assert np.all((chances >= 0) & (chances <= 1))
    found = intervals(chances)
    assert np.all(found.low <= found.middle)
    assert np.all(found.middle <= found.high)
    inside = ((chances >= found.low[:, None]) & (chances <= found.high[:, None])).mean(axis=1)
    assert np.all(inside >= 0.89)
    assert chances[-1].max() == 0  # an object without joints
    assert (found.high - found.low)[:-1].min() > 0.05


def test_more_doubt_makes_wider_intervals():
    inputs, restoration = a_collection(3)
    tied = ties(inputs, restoration)
    widths = []
    for doubt in (SURE, Doubt(0.8, 0.8, 0.4)):
        found = intervals(
            draw_chances(inputs, tied, draw_worlds(np.random.default_rng(1), CHOSEN, doubt=doubt), KEYS, CHOSEN)
        )
        widths.append((found.high - found.low).mean())
    assert widths[1] > widths[0]


def test_the_chance_to_be_among_the_first():
    scores = np.array([[3, 3], [2, 1], [1, 2], [0, 0]], dtype=np.float32)
    assert among_first(scores, 1) == pytest.approx([1, 0, 0, 0])
    assert among_first(scores, 2) == pytest.approx([1, 0.5, 0.5, 0])
    assert among_first(np.zeros((4, 5), np.float32), 1) == pytest.approx([0.25] * 4)  # equals share the place
    assert among_first(scores, 9) == pytest.approx([1] * 4)


def test_what_cannot_be_told_apart_is_one_group():
    rng = np.random.default_rng(0)
    centres = np.array([9.0, 9.01, 5.0, 5.02, 5.01, 0.0])
    scores = (centres[:, None] + 0.3 * rng.standard_normal((6, 400))).astype(np.float32)
    assert tied_groups(scores).tolist() == [0, 0, 1, 1, 1, 2]
    assert tied_groups(np.zeros((5, 3), np.float32)).tolist() == [0] * 5
    assert tied_groups(np.zeros((0, 3), np.float32)).tolist() == []


def test_the_belief_in_the_pace_runs_through_the_named_ones():
    shares = np.array([0.05, 0.5, 0.95])
    assert years_at(CHOSEN, shares) == pytest.approx([13, 49, 75])
    belief = Pace.prior(CHOSEN)
    assert np.all(np.diff(belief.years) > 0)
    assert belief.quantile(0.5) == pytest.approx(49, rel=0.02)
    worlds = draw_worlds(np.random.default_rng(0), CHOSEN, draws=2000)
    assert np.quantile(worlds.years, shares) == pytest.approx([13, 49, 75], rel=0.03)


def test_visits_move_the_belief_and_what_is_left_of_the_prior_is_said():
    inputs, restoration = a_collection()
    tied, belief = ties(inputs, restoration), Pace.prior(CHOSEN)
    sound = inputs.changed(visit_stages=np.zeros_like(inputs.visit_stages), age_now=np.full(60, 60.0))
    late = np.tile([-1, 3], (60, 1))
    worse = inputs.changed(visit_stages=late, age_now=np.full(60, 8.0))
    slow, fast = (belief.after(pace_evidence(made, tied, CHOSEN, belief.years)) for made in (sound, worse))
    assert fast.quantile(0.5) < belief.quantile(0.5) < slow.quantile(0.5)
    assert belief.prior_share == pytest.approx(1)
    assert slow.prior_share < 1
    none = inputs.changed(visit_stages=np.full_like(inputs.visit_stages, -1))
    assert pace_evidence(none, tied, CHOSEN, belief.years) == pytest.approx(np.zeros(60))
    assert belief.after(np.linspace(0, 9, 60), trust=0.0).weights == pytest.approx(belief.weights)


def test_the_evidence_of_visits_agrees_with_runs_taken_one_by_one():
    """The likelihood ratio of two mean lives, against runs taken without any table."""
    inputs, restoration = a_collection(4)
    tied = ties(inputs, restoration, seed=2)
    years = np.array([20.0, 49.0])
    whole = pace_evidence(inputs, tied, CHOSEN, years)
    expected = _by_runs(inputs, tied, years)
    assert whole[0] - whole[1] == pytest.approx(expected[0] - expected[1], abs=2e-2)


def test_a_joint_that_failed_early_speaks_for_a_fast_adhesive():
    inputs, _ = a_collection(4)
    failed = inputs.changed(age_now=np.full(60, 8.0), visit_stages=np.tile([-1, 3], (60, 1)))
    found = class_evidence(failed, Sharing(), CHOSEN, years=49.0)
    by_speed = np.argsort(speeds())
    assert np.all(np.diff(found[0, by_speed]) >= 0)
    alone = Sharing(frailty=0.0)
    exact = _likelihoods(inputs, years=30.0)
    assert class_evidence(inputs, alone, CHOSEN, years=30.0) == pytest.approx(np.log(exact), abs=5e-3)


def _likelihoods(inputs, *, years):
    """Chance [j, c] of what was seen, by runs taken one by one."""
    joint, kind = (axis.ravel() for axis in np.indices((60, 12)))
    way = Way.of(inputs, CHOSEN)
    holds = way.holds(scatter=0.5, shared=0.5)
    clock = speeds()[kind] * np.exp(log_paces(CHOSEN, np.array([years]))[0])
    return passages(way, PRIORS["middle"], holds, joint, kind, clock, np.zeros(1)).likelihood.reshape(60, 12)


def _by_runs(inputs, tied, years):
    paces, weights = tied.paces()
    way, total = Way.of(inputs, CHOSEN), []
    for log_pace in log_paces(CHOSEN, years):
        joint, kind, pace = (axis.ravel() for axis in np.indices((60, 12, paces.size)))
        clock = speeds()[kind] * paces[pace] * np.exp(log_pace)
        runs = passages(way, PRIORS["middle"], way.holds(scatter=0.5, shared=0.5), joint, kind, clock, np.zeros(1))
        likelihood = runs.likelihood.reshape(60, 12, paces.size)
        rest = np.einsum("jc,jcf->jf", tied.otherwise, likelihood)
        seen = tied.follows[:, :, None] * likelihood + (1 - tied.follows)[:, :, None] * rest[:, None]
        logs = 0.0
        for r in np.unique(tied.restoration):
            product = seen[tied.restoration == r].prod(axis=0)
            logs += np.log((tied.restorations[r][:, None] * weights * product).sum())
        total.append(logs)
    return total


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: draw_worlds(np.random.default_rng(0), CHOSEN, draws=1), "draws"),
        (
            lambda: draw_worlds(np.random.default_rng(0), CHOSEN, workshop_keys=np.zeros(1, np.uint64)),
            "workshop_keys",
        ),
        (lambda: Doubt(strength=-1), "strength"),
        (lambda: among_first(np.zeros((2, 2), np.float32), 0), "k"),
        (lambda: tied_groups(np.zeros((2, 2), np.float32), sure=0.2), "sure"),
        (lambda: intervals(np.zeros((2, 2), np.float32), share=1.0), "share"),
        (lambda: Pace.prior(CHOSEN).after(np.zeros(3)), "log_likelihood"),
        (lambda: Pace.prior(CHOSEN).after(np.zeros(60), trust=2.0), "trust"),
    ],
)
def test_what_cannot_be_drawn_is_refused_by_name(call, name):
    with pytest.raises(ValueError, match=name):
        call()
