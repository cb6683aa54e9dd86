"""Makespans against the best known ones of PSPLIB, and CP-SAT on the same instances in the same run.

python -m tests.bench.bench_psplib FOLDER --set j30 --seconds 10            # every third of the folder's files
python -m tests.bench.bench_psplib FOLDER --set j60 --every 6 --peer

FOLDER holds ``j30/*.sm`` and so on, as PSPLIB gives them, and ``best_known.csv`` with set, instance, best_known.
Two instances are worked on at a time; the peer has them one after the other with two workers.
"""

import argparse
import csv
import json
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from ortools.sat.python import cp_model

from tests.bench.rcpsp import faults, read_project, solve


def peer_makespan(project, seconds):
    model, horizon = cp_model.CpModel(), int(project.length.sum())
    starts = [model.new_int_var(0, horizon, "") for _ in project.length]
    steps = [model.new_fixed_size_interval_var(s, int(d), "") for s, d in zip(starts, project.length, strict=True)]
    for a, start in enumerate(starts):
        for b in project.before[project.before_ptr[a] : project.before_ptr[a + 1]]:
            model.add(start >= starts[b] + int(project.length[b]))
    for r, capacity in enumerate(project.capacity):
        model.add_cumulative(steps, [int(n) for n in project.need[:, r]], int(capacity))
    model.minimize(starts[-1])
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    solver.solve(model)
    return int(solver.objective_value)


def summary(spans, best):
    gaps = [span / known - 1 for span, known in zip(spans, best, strict=True)]
    return {
        "mean_gap_percent": round(100 * sum(gaps) / len(gaps), 3),
        "max_gap_percent": round(100 * max(gaps), 2),
        "reaches_best_known": round(sum(g <= 0 for g in gaps) / len(gaps), 3),
    }


def measure(folder, name, every, seconds, seed, peer):
    with (folder / "best_known.csv").open() as lines:
        known = {row["instance"]: int(row["best_known"]) for row in csv.DictReader(lines) if row["set"] == name}
    files = sorted((folder / name).glob("*.sm"))[::every]
    projects, best = [read_project(file) for file in files], [known[file.name] for file in files]
    solve(projects[0], seconds=0.01)
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda project: solve(project, seconds=seconds, seed=seed), projects))
    wrong = [fault for project, (_, start, _) in zip(projects, found, strict=True) for fault in faults(project, start)]
    told = {"set": name, "instances": len(files), "seconds": seconds, "faults": len(wrong)}
    told |= summary([span for span, *_ in found], best)
    told["proven"] = round(sum(span == bound for span, _, bound in found) / len(found), 3)
    if peer:
        told["cp_sat"] = summary([peer_makespan(project, seconds) for project in projects], best)
    return told | {"load": os.getloadavg()[0]}


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("folder", type=Path)
    options.add_argument("--set", default="j30")
    options.add_argument("--every", type=int, default=3)
    options.add_argument("--seconds", type=float, default=10.0)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--peer", action="store_true")
    given = options.parse_args()
    print(json.dumps(measure(given.folder, given.set, given.every, given.seconds, given.seed, given.peer)))
