"""How much faster scoring many joints at once is than a loop of scipy.linalg.expm, and how long a survey takes.

Run from the top folder, with one thread for a fair loop: OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_risk
"""

import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.linalg import expm

from survey.risk.identification import DEFAULT_PRIOR
from survey.risk.inputs import JointInputs
from survey.risk.load import MOVES, PART_SHAPES, load_inputs
from survey.risk.matrices import intensity_transition_matrix, progressive_generator, transition_matrix
from survey.risk.objects import score_joints, score_objects
from survey.risk.stages import PRIORS


def seconds(work: Callable[[], object], *, times: int = 3) -> float:
    """Best of a few runs."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


def a_survey(joints: int, objects: int, seed: int = 0) -> JointInputs:
    """Invented joints, every one of its own age, seen twice, with three milestones."""
    rng = np.random.default_rng(seed)
    return JointInputs(
        object_count=objects,
        object_index=rng.integers(0, objects, joints),
        class_probabilities=np.tile(DEFAULT_PRIOR, (joints, 1)),
        age_now=rng.uniform(10, 80, joints),
        visit_ago=np.tile([8.0, 0.2], (joints, 1)),
        visit_stages=rng.integers(-1, 4, (joints, 2)),
        rate_per_year=rng.uniform(0.3, 2, joints),
        years_ahead=np.tile([0.2, 0.8, 1.5], (joints, 1)),
        moves=np.tile(np.arange(1, 4)[:, None] * np.ones(len(MOVES)), (joints, 1, 1)),
        load=load_inputs(
            rng.choice(list(PART_SHAPES), joints), rng.uniform(50, 500, joints), rng.uniform(50, 300, joints)
        ),
        rate_factor=np.ones(joints),
    )


def main(joints: int) -> None:
    """Print the ratios and the times."""
    rng = np.random.default_rng(0)
    rates = PRIORS["middle"].rates * rng.uniform(0.5, 2, (joints, 1))
    ages = rng.uniform(0, 80, joints)
    generators = progressive_generator(rates)
    loop = seconds(lambda: [expm(one * age) for one, age in zip(generators, ages, strict=True)])
    chain = seconds(lambda: transition_matrix(rates, ages))
    any_generator = seconds(lambda: intensity_transition_matrix(generators, ages))
    print(f"{joints} chains of five stages, each with its own rates and age")
    print(f"  loop of scipy.linalg.expm     {loop:8.3f} s")
    print(f"  transition_matrix             {chain:8.3f} s   {loop / chain:6.1f} times faster")
    print(f"  intensity_transition_matrix   {any_generator:8.3f} s   {loop / any_generator:6.1f} times faster")
    survey = a_survey(joints, max(1, joints // 5))
    spent = seconds(lambda: score_objects(survey, score_joints(survey)), times=1)
    print(f"{joints} joints, 12 classes, 3 priors, 3 milestones: {spent:.2f} s, {1000 * spent / joints:.2f} ms a joint")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
