"""Speed of the forecast against the same policy in simpy, in one process.

"ratio" is by the clock, with all cores against simpy's one; "ratio_of_processor_time" is for one core each, and is what
to trust where the machine has other work to do.

python -m tests.bench.bench_forecast --objects 300 --trials 10000
python -m tests.bench.bench_forecast --look-ahead 1          # everyone keeps the planned order
"""

import argparse
import json
import os
import time

from tests.reference.plan_instances import make
from tests.reference.plan_simpy import Season
from treatments.forecast.simulate import LOOK_AHEAD, simulate
from treatments.planning.solve import solve_instance


def measure(objects, seed, trials, peer_trials, ahead):
    instance = make(objects, seed)
    plan = solve_instance(instance, seconds=2)
    simulate(instance, plan, trials=2)
    began, busy = time.perf_counter(), time.process_time()
    forecast = simulate(instance, plan, trials=trials, look_ahead=ahead)
    ours, own_work = time.perf_counter() - began, time.process_time() - busy
    level = {thing["id"]: thing["levels"] for thing in instance["objects"]}
    hours = {(name, s["id"]): s["q"] for name, n in plan["levels"].items() for s in level[name][n]["steps"]}
    began, busy = time.perf_counter(), time.process_time()
    for _ in range(peer_trials):
        Season(instance, plan, hours=hours, ahead=ahead).run()
    peer, peer_work = time.perf_counter() - began, time.process_time() - busy
    return {
        "steps": len(plan["steps"]),
        "trials": trials,
        "seconds": round(ours, 2),
        "trials_per_second": round(trials / ours),
        "simpy_trials_per_second": round(peer_trials / peer, 1),
        "ratio": round(trials / ours * peer / peer_trials),
        "processor_seconds": round(own_work, 2),
        "ratio_of_processor_time": round(trials / own_work * peer_work / peer_trials),
        "load": os.getloadavg()[0],
        "ready_mandatory": forecast.ready_mandatory,
        "late_mean": round(forecast.late_mean, 2),
    }


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--objects", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--trials", type=int, default=10_000)
    options.add_argument("--peer-trials", type=int, default=10)
    options.add_argument("--look-ahead", type=int, default=LOOK_AHEAD)
    given = options.parse_args()
    told = measure(given.objects, given.seed, given.trials, given.peer_trials, given.look_ahead)
    print(json.dumps(told, indent=1))
