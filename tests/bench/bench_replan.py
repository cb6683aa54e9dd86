"""A plan after one edit: time, benefit against a plan made anew, and how much moves that was not touched.

python -m tests.bench.bench_replan --objects 300 --seed 1 --seconds 4

Edits: three people in turn fall ill on a day of week 3, when all that has begun stays (if it was not theirs), and a
mandatory object comes in. The plan anew has the limit of the first; the clock ends neither, busy as the machine may be.
"""

import copy
import json
import os
import time

import treatments.planning.solve as solve_module
from tests.bench.asked import options
from tests.reference.plan_checker import check
from tests.reference.plan_instances import WEEK, make
from treatments.planning.replan import replan_instance
from treatments.planning.solve import solve_instance, warm_up


def edits(instance):
    for n, person in enumerate(instance["staff"][:3]):
        changed = copy.deepcopy(instance)
        shifts = changed["staff"][n]["shifts"]
        lost = next(s for s in shifts if s[0] >= 2 * WEEK)
        shifts.remove(lost)
        yield f"{person['id']} is ill", changed, (person["id"], *lost)
    changed = copy.deepcopy(instance)
    new = copy.deepcopy(instance["objects"][5]) | {"id": "new", "mandatory": True}
    changed["objects"].append(new)
    yield "a mandatory object more", changed, ("", 0, 0)


def measure(name, changed, lost, plan, seconds):
    person, start, end = lost
    begun = {thing for thing, _, _, t in plan["steps"] if t < start}
    struck = {thing for thing, _, who, t in plan["steps"] if who == person and start <= t < end}
    began, busy = time.perf_counter(), time.process_time()
    new = replan_instance(changed, plan, pinned=begun - struck)
    took, work = time.perf_counter() - began, time.process_time() - busy
    anew = solve_instance(changed, seconds=seconds)
    before = {(thing, step): (who, t) for thing, step, who, t in plan["steps"]}
    after = {(thing, step): (who, t) for thing, step, who, t in new["steps"]}
    untouched = [key for key in before if key[0] not in struck]
    errors, benefit, done, mandatory = check(changed, new)
    return {
        "edit": name,
        "seconds": round(took, 2),
        "processor_seconds": round(work, 2),
        "benefit_over_anew": round(benefit / anew["benefit"], 4),
        "untouched_moved": round(sum(before[k] != after.get(k) for k in untouched) / len(untouched), 4),
        "errors": len(errors),
        "mandatory": [done, mandatory],
        "load": os.getloadavg()[0],
    }


if __name__ == "__main__":
    asked = options(__doc__, seconds=4.0)
    given = asked.parse_args()
    warm_up()
    solve_module.PATIENCE = 1e6
    made = make(given.objects, given.seed, 14, given.team)
    first = solve_instance(made, seconds=given.seconds)
    replan_instance(made, first)
    for edit in edits(made):
        print(json.dumps(measure(*edit, first, given.seconds)))
