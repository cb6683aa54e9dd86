"""How much faster scoring many joints at once is than a loop of scipy.linalg.expm, and how long whole runs take.

Run from the top folder, with one thread for a fair loop: OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_risk
[joints]. Processor time of one core is counted, not the clock on the wall.
"""

import resource
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.linalg import expm

from survey.risk.bonds import Bonds
from survey.risk.carrying import ChainTable, carried_by_table
from survey.risk.draws import among_first, draw_chances, draw_worlds, intervals, tied_groups
from survey.risk.identification import CLASSES, DEFAULT_PRIOR
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.load import MOVES, PART_SHAPES, load_inputs
from survey.risk.matrices import intensity_transition_matrix, progressive_generator, transition_matrix
from survey.risk.objects import score_joints, score_objects
from survey.risk.pace import Pace, pace_evidence
from survey.risk.passing import Way, passages
from survey.risk.stages import PRIORS, StagePrior
from survey.risk.together import score_together
from survey.risk.workshops import Findings, Sharing, identify

MILESTONES = np.array([0.2, 0.5, 0.8, 1.0, 1.2, 1.5])
CHUNK = 100_000


def seconds(work: Callable[[], object], *, times: int = 3) -> float:
    """Best of a few runs."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return min(spent)


def a_survey(joints: int, objects: int, seed: int = 0, ahead: np.ndarray = MILESTONES[[0, 2, 5]]) -> JointInputs:
    """Invented joints, every one of its own age, looked at twice or not at all."""
    rng = np.random.default_rng(seed)
    moves = np.arange(1, ahead.size + 1)[:, None] * np.ones(len(MOVES))
    return JointInputs(
        object_count=objects,
        object_index=np.sort(rng.integers(0, objects, joints)),
        class_probabilities=np.tile(DEFAULT_PRIOR, (joints, 1)),
        age_now=rng.uniform(10, 80, joints),
        visit_ago=np.tile([8.0, 0.2], (joints, 1)),
        visit_stages=rng.integers(-1, 4, (joints, 2)),
        rate_per_year=rng.uniform(0.3, 2, joints),
        years_ahead=np.tile(ahead, (joints, 1)),
        moves=np.tile(moves, (joints, 1, 1)),
        load=load_inputs(
            rng.choice(list(PART_SHAPES), joints), rng.uniform(50, 500, joints), rng.uniform(50, 300, joints)
        ),
        rate_factor=np.ones(joints),
    )


def ties(survey: JointInputs) -> Bonds:
    """One restoration for each object."""
    joints, of = survey.object_index.size, np.tile(DEFAULT_PRIOR, (survey.object_count, 1))
    follows = np.full((joints, len(CLASSES)), 0.85)
    return Bonds(survey.object_index, of, follows, survey.class_probabilities, np.full(joints, -1), Sharing())


def expm_of_each(joints: int = 500) -> float:
    """Seconds for one scipy.linalg.expm of a chain of five stages, in a loop."""
    rng = np.random.default_rng(0)
    generator = progressive_generator(PRIORS["middle"].rates)
    ages = rng.uniform(0, 80, joints)
    return seconds(lambda: [expm(generator * age) for age in ages]) / joints


def chances_at_milestones(joints: int, prior: StagePrior) -> float:
    """Seconds for ages to chances to be open at six milestones, in chunks: what six expm for each joint would do."""
    table = ChainTable.of(prior.rates, 200.0)
    rng = np.random.default_rng(1)
    spent = 0.0
    for start in range(0, joints, CHUNK):
        count = min(CHUNK, joints - start)
        ages, belief = rng.uniform(0, 80, count), np.tile(np.eye(5)[0], (count, 1))
        begin = time.process_time()
        reached = np.zeros(count)
        for moment in MILESTONES:
            belief = carried_by_table(belief, table, ages + moment - reached)
            reached = ages + moment
        spent += time.process_time() - begin
    return spent


def whole_runs(joints: int, prior: StagePrior) -> float:
    """Seconds for age, two visits, six milestones and all planned moves of joints of known adhesive, in chunks."""
    spent = 0.0
    chosen = Assumptions()
    for start in range(0, joints, CHUNK):
        count = min(CHUNK, joints - start)
        survey = a_survey(count, count, seed=start, ahead=MILESTONES)
        begin = time.process_time()
        way = Way.of(survey, chosen)
        holds = way.holds(scatter=chosen.scatter, shared=chosen.shared_scatter)
        passages(way, prior, holds, np.arange(count), np.full(count, 2), np.ones(count), np.zeros(1))
        spent += time.process_time() - begin
    return spent


def against_the_loop(joints: int) -> None:
    """Print ratios to a loop of expm; the loop is timed on a few hundred joints, and grows in proportion."""
    one, prior = expm_of_each(), PRIORS["middle"]
    chances_at_milestones(1000, prior), whole_runs(1000, prior)  # compiled before it is timed
    loop = joints * MILESTONES.size * one
    print(f"{joints:,} joints, six milestones; one expm takes {1e6 * one:.0f} microseconds, the loop {loop:,.0f} s")
    for words, spent in (
        ("chances to be open at six milestones", chances_at_milestones(joints, prior)),
        ("with visits, observers' errors and moves", whole_runs(joints, prior)),
    ):
        print(f"  {words:42s} {spent:7.2f} s   {loop / spent:7.0f} times faster than six expm for each joint")
    few = min(joints, 5000)
    rng = np.random.default_rng(0)
    rates, ages = prior.rates * rng.uniform(0.5, 2, (few, 1)), rng.uniform(0, 80, few)
    for words, spent in (
        ("each chain with rates of its own", seconds(lambda: transition_matrix(rates, ages))),
        ("any generator", seconds(lambda: intensity_transition_matrix(progressive_generator(rates), ages))),
    ):
        print(f"  {words:42s} {1e6 * spent / few:7.2f} microseconds each, {few * one / spent:.0f} times faster")


def per_part(joints: int) -> None:
    """Print what each part of a run takes for some joints, and for 300,000 of 100,000 objects at the same pace."""
    survey, chosen = a_survey(joints, joints // 3), Assumptions()
    tied, rng = ties(survey), np.random.default_rng(0)
    belief = Pace.prior(chosen)
    worlds = draw_worlds(rng, chosen, draws=200)
    keys = np.arange(survey.object_count, dtype=np.uint64)
    own = np.log(rng.uniform(0.02, 1, (joints, len(CLASSES))))
    shops = rng.integers(-1, 50, survey.object_count)
    findings = Findings(survey.object_index, shops, own, np.zeros((survey.object_count, len(CLASSES))), DEFAULT_PRIOR)
    few = a_survey(300, 100)
    score_together(few, ties(few)), pace_evidence(few, ties(few), chosen, belief.years)
    draw_chances(few, ties(few), draw_worlds(rng, chosen, draws=2), keys[:100], chosen)  # compiled before it is timed
    found: list[np.ndarray] = []
    parts: dict[str, Callable[[], object]] = {
        "adhesives shared (identify)": lambda: identify(findings, Sharing()),
        "independent joints, three beliefs": lambda: score_objects(survey, score_joints(survey)),
        "shared causes, three beliefs": lambda: score_together(survey, tied),
        "pace learned from visits": lambda: pace_evidence(survey, tied, chosen, belief.years),
        "200 draws": lambda: found.append(draw_chances(survey, tied, worlds, keys, chosen)),
        "intervals, the first 100, ties": lambda: (
            intervals(found[0]), among_first(found[0], min(100, keys.size)), tied_groups(found[0])
        ),
    }  # fmt: skip
    print(f"{joints:,} joints of {survey.object_count:,} objects, 12 classes, 3 milestones")
    for words, work in parts.items():
        spent = seconds(work, times=1)
        print(f"  {words:42s} {spent:7.2f} s; 300,000 joints {300_000 * spent / joints:7.1f} s")


def main(joints: int) -> None:
    """Print everything."""
    against_the_loop(joints)
    per_part(max(3000, joints // 100))
    survey = a_survey(5000, 1000)
    print(f"5,000 joints scored: {seconds(lambda: score_joints(survey)):.2f} s")
    print(f"most memory held: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
