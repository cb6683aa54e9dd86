"""How good learned hours are on logs that nobody has seen, against medians of each kind of step, in invented worlds.

python -m tests.bench.bench_hours --worlds 12 --jobs 12 40 120

CRPS: continuous ranked probability score (Gneiting and Raftery 2007, JASA 102:359-378), hours, lower is better; of a
median alone it is the absolute error. Two medians are scored: of the hours of a kind, and of its hours over those
expected, which knows the size of the work as the forecast does. The third peer is all such shares as a distribution.
The worlds (kinds, skills, bodies and jobs that run over; wild steps; noted to the quarter-hour) are the bench's own:
nothing of the product made them.
"""

import argparse
import json
import os
import time

import numpy as np

from treatments.hours.learning import StepRecord, teach
from treatments.hours.scores import crps_ensemble

KINDS = {
    "examine": ("exam", 0.5), "test": ("solvent", 0.5), "consolidate": ("join", 0.6), "strip": ("solvent", 1.6),
    "clean": ("solvent", 0.8), "join": ("join", 1.2), "fill": ("fill", 1.2), "retouch": ("retouch", 1.4),
}  # fmt: skip
BODIES = ("earthenware", "stoneware", "porcelain")
DRAWS = 400


class World:
    """A department whose work strays from estimates in its own way."""

    def __init__(self, seed):
        self.rng = rng = np.random.default_rng(seed)
        self.kind = {k: rng.normal(rng.normal(0.1, 0.15), 0.25) for k in KINDS}
        self.skill = {s: rng.normal(0, 0.1) for s, _ in KINDS.values()}
        self.body = {b: rng.normal(0, 0.12) for b in BODIES}
        self.between_jobs, self.within = rng.uniform(0.15, 0.4), rng.uniform(0.25, 0.5)
        self.tail = float(rng.choice([4.0, 8.0, 1e6]))

    def log(self, jobs, first):
        rng, found = self.rng, []
        for job in range(first, first + jobs):
            body, own = str(rng.choice(BODIES)), rng.normal(0, self.between_jobs)
            size = np.exp(rng.normal(0, 0.45))
            for kind in rng.choice(list(KINDS), size=rng.integers(3, len(KINDS) + 1), replace=False):
                skill, median = KINDS[str(kind)]
                expected = max(0.25, median * size * np.exp(rng.normal(0, 0.3)))
                stray = self.kind[str(kind)] + self.skill[skill] + self.body[body] + own
                stray += self.within * rng.standard_t(self.tail)
                actual = max(0.25, round(4 * expected * np.exp(stray)) / 4)
                found.append(StepRecord(f"j{job}", str(kind), skill, body, float(expected), float(actual)))
        return found


def measure_world(seed, jobs, unseen_jobs):
    world = World(seed)
    logged, unseen = world.log(jobs, 0), world.log(unseen_jobs, jobs)
    teaching = teach(logged)
    hours = {k: [r.actual for r in logged if r.kind == k] or [r.actual for r in logged] for k in KINDS}
    share = {k: [r.actual / r.expected for r in logged if r.kind == k] or [1.0] for k in KINDS}
    ranks = (np.arange(DRAWS) + 0.5) / DRAWS
    scores, inside = {"forecast": [], "median": [], "median_share": [], "all_shares": []}, []
    for record in unseen:
        ahead = teaching.fitted.forecast(kind=record.kind, skill=record.skill, body=record.body)
        members = record.expected * ahead.quantile(ranks)
        low, high = record.expected * ahead.quantile([0.1, 0.9])
        inside.append(low <= record.actual <= high)
        scores["forecast"].append(crps_ensemble(record.actual, members))
        scores["median"].append(abs(record.actual - np.median(hours[record.kind])))
        scores["median_share"].append(abs(record.actual - record.expected * np.median(share[record.kind])))
        scores["all_shares"].append(crps_ensemble(record.actual, record.expected * np.array(share[record.kind])))
    return {name: float(np.mean(own)) for name, own in scores.items()} | {"inside": float(np.mean(inside))}


def measure(worlds, jobs, unseen_jobs, first):
    began = time.perf_counter()
    rows = [measure_world(first + seed, jobs, unseen_jobs) for seed in range(worlds)]
    mean = {name: float(np.mean([row[name] for row in rows])) for name in rows[0]}
    inside = [row["inside"] for row in rows]
    return {
        "jobs": jobs,
        "worlds": worlds,
        "crps_hours": round(mean["forecast"], 4),
        "over_median_of_kind": round(mean["forecast"] / mean["median"], 3),
        "over_median_share_of_kind": round(mean["forecast"] / mean["median_share"], 3),
        "over_all_shares_of_kind": round(mean["forecast"] / mean["all_shares"], 3),
        "inside_80_percent": round(mean["inside"], 3),
        "inside_80_percent_lowest_and_highest_world": [round(min(inside), 3), round(max(inside), 3)],
        "seconds": round(time.perf_counter() - began, 1),
        "load": os.getloadavg()[0],
    }


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--worlds", type=int, default=12)
    options.add_argument("--jobs", type=int, nargs="+", default=[12, 40, 120])
    options.add_argument("--unseen", type=int, default=60)
    options.add_argument("--first-seed", type=int, default=100)
    given = options.parse_args()
    for number in given.jobs:
        print(json.dumps(measure(given.worlds, number, given.unseen, given.first_seed)))
