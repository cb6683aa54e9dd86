"""The bound of the plan against an energy relaxation solved as a linear programme (scipy's HiGHS), in one process.

python -m tests.bench.bench_bound --objects 300 --seed 1

The peer: at most one level for each object; for every window of whole weeks and every set of skills, the hours of the
steps that must lie inside it fit those on duty who have one of the skills; the same for hoods and benches. Rows are
added as they are broken, which ends at the optimum of all of them. Mandatory objects take one level in both.
"""

import json
import os
import time
from itertools import combinations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array, vstack

from tests.bench.asked import options
from tests.reference.plan_instances import WEEK, make
from treatments.planning.bound import upper_bound
from treatments.planning.problem import read_instance
from treatments.planning.solve import Effort, warm_up

ROWS_AT_ONCE = 200


def windows_of_steps(thing, level):
    """Earliest start and latest end of each step by releases, dates, cures and the steps before and after."""
    steps = level["steps"]
    early, late, place = [], [0] * len(steps), {step["id"]: n for n, step in enumerate(steps)}
    for step in steps:
        before = [place[name] for name in step["preds"]]
        early.append(max([thing["release"], *(early[b] + steps[b]["q"] + steps[b]["cure"] for b in before)]))
    for n, step in enumerate(steps):
        by = {"photo": thing["photo_by"], "mount": thing["mount_by"]}.get(step["kind"], thing["close_by"])
        late[n] = min(by, thing["close_by"] - step["cure"])
    for n in reversed(range(len(steps))):
        for b in (place[name] for name in steps[n]["preds"]):
            late[b] = min(late[b], late[n] - steps[n]["q"] - steps[b]["cure"])
    return early, late


def energy_rows(instance):
    """[rows, levels] hours that must lie in a window, by set of skills or place, and what there is in it."""
    weeks, levels = instance["weeks"], [(t, n) for t in instance["objects"] for n in range(len(t["levels"]))]
    skills = sorted({s["skill"] for t in instance["objects"] for level in t["levels"] for s in level["steps"]})
    kinds = [*skills, "hood", "bench"]
    spans = [(a, b) for a in range(weeks) for b in range(a + 1, weeks + 1)]
    inside = np.zeros((len(kinds), len(spans), len(levels)))
    for column, (thing, number) in enumerate(levels):
        level = thing["levels"][number]
        for step, early, late in zip(level["steps"], *windows_of_steps(thing, level), strict=True):
            held = [early >= a * WEEK and late <= b * WEEK for a, b in spans]
            inside[kinds.index(step["skill"]), held, column] += step["q"]
            if step["resource"]:
                inside[kinds.index(step["resource"]), held, column] += step["q"]
    duty = np.zeros((len(instance["staff"]), weeks))
    span = np.array([[1 << 40, 0]] * (7 * weeks))
    for p, person in enumerate(instance["staff"]):
        for start, end in person["shifts"]:
            duty[p, start // WEEK] += end - start
            span[start // 96] = min(span[start // 96, 0], start), max(span[start // 96, 1], end)
    open_ = np.maximum(0, span[:, 1] - span[:, 0]).reshape(weeks, 7).sum(axis=1)
    rows, room = [], []
    for size in range(1, len(skills) + 1):
        for chosen in combinations(range(len(skills)), size):
            able = [any(skills[s] in person["skills"] for s in chosen) for person in instance["staff"]]
            rows.append(inside[list(chosen)].sum(axis=0))
            room.append([duty[able, a:b].sum() for a, b in spans])
    for place, count in (("hood", instance["hoods"]), ("bench", instance["benches"])):
        rows.append(inside[kinds.index(place)])
        room.append([count * open_[a:b].sum() for a, b in spans])
    owner = np.array([n for n, t in enumerate(instance["objects"]) for _ in t["levels"]])
    return np.concatenate(rows), np.concatenate(room), owner


def energy_bound(instance):
    """Value of the linear programme and the seconds of processor that the solver took, rows apart."""
    rows, room, owner = energy_rows(instance)
    benefit = np.array([level["benefit"] for t in instance["objects"] for level in t["levels"]], float)
    count = len(instance["objects"])
    one = csr_array((np.ones(len(owner)), (owner, np.arange(len(owner)))), (count, len(owner)))
    must = np.array([t["mandatory"] for t in instance["objects"]])
    used, began = np.zeros(len(rows), bool), time.process_time()
    while True:
        limits = vstack([one[~must], csr_array(rows[used])])
        solved = linprog(
            -benefit, limits, np.concatenate((np.ones((~must).sum()), room[used])), one[must], np.ones(must.sum())
        )
        over = rows @ solved.x - room
        broken = np.flatnonzero((over > 1e-6) & ~used)
        if not broken.size:
            return -solved.fun, time.process_time() - began
        used[broken[np.argsort(-over[broken])][:ROWS_AT_ONCE]] = True


def measure(instance, seconds):
    problem = read_instance(instance)
    rounds = Effort.within(seconds, problem).rounds
    began, clock = time.process_time(), time.perf_counter()
    bound = upper_bound(problem, rounds).value
    took, waited = time.process_time() - began, time.perf_counter() - clock
    peer, peer_took = energy_bound(instance)
    return {
        "limit": seconds,
        "bound": round(bound),
        "processor_seconds": round(took, 2),
        "seconds": round(waited, 2),
        "energy_programme": round(peer),
        "energy_processor_seconds": round(peer_took, 2),
        "percent_lower": round(100 * (1 - bound / peer), 2),
        "load": os.getloadavg()[0],
    }


if __name__ == "__main__":
    asked = options(__doc__, seconds=10.0)
    given = asked.parse_args()
    warm_up()
    print(json.dumps(measure(make(given.objects, given.seed, 14, given.team), given.seconds)))
