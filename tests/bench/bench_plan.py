"""Quality of plans against their bound and against CP-SAT, in one process.

python -m tests.bench.bench_plan --objects 300 --seed 1 --seconds 0.5 10
python -m tests.bench.bench_plan --peer-seconds 120          # a full interval model, begun from the first schedule
python -m tests.bench.bench_plan --patient --seconds 10      # on a busy machine: all moves that the limit plans for

With --patient the clock does not end a search; "processor_seconds" then tell whether two idle cores would have kept the
limit.
"""

import argparse
import json
import os
import time

import treatments.planning.solve as solve_module
from tests.reference.plan_checker import check
from tests.reference.plan_cpsat import solve
from tests.reference.plan_instances import make
from treatments.planning.greedy import greedy_plan
from treatments.planning.solve import solve_instance, warm_up


def measure(instance, seconds):
    began, busy = time.perf_counter(), time.process_time()
    plan = solve_instance(instance, seconds=seconds)
    took, work = time.perf_counter() - began, time.process_time() - busy
    errors, benefit, done, mandatory = check(instance, plan)
    return {
        "limit": seconds,
        "took": round(took, 2),
        "processor_seconds": round(work, 2),
        "load": os.getloadavg()[0],
        "benefit": benefit,
        "bound": round(plan["bound"]),
        "share": round(plan["share"], 4),
        "moves": plan["moves"],
        "cut_short": plan["cut_short"],
        "errors": len(errors),
        "mandatory": [done, mandatory],
    }


def measure_peer(instance, seconds):
    began = time.perf_counter()
    status, benefit, bound, plan = solve(instance, seconds=seconds, hint=greedy_plan(instance))
    errors = None if plan is None else len(check(instance, plan)[0])
    return {
        "peer": "CP-SAT",
        "took": round(time.perf_counter() - began, 1),
        "status": status,
        "benefit": benefit,
        "bound": bound,
        "errors": errors,
    }


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--objects", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--team", type=int, default=1)
    options.add_argument("--seconds", type=float, nargs="+", default=[0.5, 10.0])
    options.add_argument("--patient", action="store_true")
    options.add_argument("--peer-seconds", type=float, default=0.0)
    given = options.parse_args()
    if given.patient:
        solve_module.PATIENCE = 1e6
    made = make(given.objects, given.seed, 14, given.team)
    warm_up()
    print(json.dumps({"first schedule": check(made, greedy_plan(made))[1]}))
    for limit in given.seconds:
        print(json.dumps(measure(made, limit)))
    if given.peer_seconds:
        print(json.dumps(measure_peer(made, given.peer_seconds)))
