"""Choice of levels within one budget of hours: time against CP-SAT's proof of the same optimum, in one process.

python -m tests.bench.bench_levels --objects 300 --seed 1 --seconds 25

Times are of the processor; the peer has two workers, and where it proves nothing within the limit its time is a lower
bound. Ours includes the whole curve of benefit over hours.
"""

import json
import os
import time

from ortools.sat.python import cp_model

from tests.bench.asked import options
from tests.reference.plan_instances import make
from treatments.planning.knapsack import choose_levels


def peer(quarters, benefits, budget, seconds):
    model = cp_model.CpModel()
    takes = [[model.new_bool_var("") for _ in levels] for levels in quarters]
    for own in takes:
        model.add_at_most_one(own)
    flat = [(q, b, t) for n, own in enumerate(takes) for q, b, t in zip(quarters[n], benefits[n], own, strict=True)]
    model.add(sum(q * t for q, _, t in flat) <= budget)
    model.maximize(sum(b * t for _, b, t in flat))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds, solver.parameters.num_workers = seconds, 2
    status = solver.solve(model)
    return status == cp_model.OPTIMAL, solver.objective_value


def measure(instance, share, seconds):
    things = instance["objects"]
    quarters = [[sum(s["q"] for s in level["steps"]) for level in thing["levels"]] for thing in things]
    benefits = [[level["benefit"] for level in thing["levels"]] for thing in things]
    budget = int(share * sum(map(max, quarters)))
    choose_levels(quarters, benefits, budget)
    began = time.process_time()
    found = choose_levels(quarters, benefits, budget)
    ours = time.process_time() - began
    began, clock = time.process_time(), time.perf_counter()
    proven, best = peer(quarters, benefits, budget, seconds)
    took, waited = time.process_time() - began, time.perf_counter() - clock
    return {
        "share": share,
        "benefit": found.benefit,
        "milliseconds": round(1000 * ours, 1),
        "peer_proven": proven,
        "peer_over_ours": round(best / found.benefit, 5),
        "peer_seconds": round(took, 2),
        "peer_seconds_by_the_clock": round(waited, 2),
        "times_faster": round(took / ours),
        "load": os.getloadavg()[0],
    }


if __name__ == "__main__":
    asked = options(__doc__, seconds=25.0)
    asked.add_argument("--shares", type=float, nargs="+", default=[0.1, 0.25, 0.4, 0.6])
    given = asked.parse_args()
    made = make(given.objects, given.seed, 14, given.team)
    for part in given.shares:
        print(json.dumps(measure(made, part, given.seconds)))
