"""The planning problem as one interval model for CP-SAT, an independent solver.

Optimum on small instances, a peer on large ones.

Levels and steps are optional; a start may lie where a shift has room for the step; quarter-hours throughout.
"""

from typing import Any

from ortools.sat.python import cp_model


def solve(instance, *, seconds, workers=2, hint=None):
    """Status, benefit, upper bound and plan (nothing if none was found)."""
    model = cp_model.CpModel()
    takes: dict[tuple, Any] = {}
    starts: dict[tuple, Any] = {}
    doers: dict[tuple, Any] = {}
    busy: dict[str, list] = {person["id"]: [] for person in instance["staff"]}
    shared: dict[str, list] = {"hood": [], "bench": []}
    for thing in instance["objects"]:
        for number, level in enumerate(thing["levels"]):
            taken = takes[thing["id"], number] = model.new_bool_var("")
            _add_level(model, instance, thing, number, level, taken, starts, doers, busy, shared)
        own = [takes[thing["id"], n] for n in range(len(thing["levels"]))]
        model.add(sum(own) == 1) if thing["mandatory"] else model.add(sum(own) <= 1)
    for intervals in busy.values():
        model.add_no_overlap(intervals)
    for name, capacity in (("hood", instance["hoods"]), ("bench", instance["benches"])):
        model.add_cumulative(shared[name], [1] * len(shared[name]), capacity)
    benefit = {(o["id"], n): lv["benefit"] for o in instance["objects"] for n, lv in enumerate(o["levels"])}
    model.maximize(sum(benefit[key] * taken for key, taken in takes.items()))
    if hint:
        _hint(model, hint, takes, starts, doers)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    solver.parameters.cp_model_probing_level = 0  # probing took all of the time on large instances
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return solver.status_name(status), None, None, None
    levels = {thing: number for (thing, number), taken in takes.items() if solver.value(taken)}
    steps = [
        [thing, step, person, solver.value(starts[thing, number, step])]
        for (thing, number, step, person), does in doers.items()
        if levels.get(thing) == number and solver.value(does)
    ]
    plan = {"levels": levels, "steps": steps}
    return solver.status_name(status), solver.objective_value, solver.best_objective_bound, plan


def _add_level(model, instance, thing, number, level, taken, starts, doers, busy, shared):
    for step in level["steps"]:
        key = (thing["id"], number, step["id"])
        limit = {"photo": thing["photo_by"], "mount": thing["mount_by"]}.get(step["kind"], thing["close_by"])
        last = min(limit, thing["close_by"] - step["cure"]) - step["q"]
        start = starts[key] = model.new_int_var(0, 10**6, "")
        does = []
        for person in instance["staff"]:
            spans = [[max(a, thing["release"]), min(b - step["q"], last)] for a, b in person["shifts"]]
            spans = [span for span in spans if span[0] <= span[1]]
            if step["skill"] not in person["skills"] or not spans:
                continue
            chosen = doers[*key, person["id"]] = model.new_bool_var("")
            model.add_linear_expression_in_domain(start, cp_model.Domain.from_intervals(spans)).only_enforce_if(chosen)
            busy[person["id"]].append(model.new_optional_fixed_size_interval_var(start, step["q"], chosen, ""))
            does.append(chosen)
        model.add(sum(does) == taken)
        if step["resource"]:
            shared[step["resource"]].append(model.new_optional_fixed_size_interval_var(start, step["q"], taken, ""))
    by_id = {step["id"]: step for step in level["steps"]}
    for step in level["steps"]:
        for before in step["preds"]:
            gap = by_id[before]["q"] + by_id[before]["cure"]
            earlier, later = starts[thing["id"], number, before], starts[thing["id"], number, step["id"]]
            model.add(later >= earlier + gap).only_enforce_if(taken)


def _hint(model, plan, takes, starts, doers):
    at = {(thing, step): (person, start) for thing, step, person, start in plan["steps"]}
    for (thing, number), taken in takes.items():
        model.add_hint(taken, plan["levels"].get(thing) == number)
    for (thing, number, step), start in starts.items():
        if plan["levels"].get(thing) == number:
            model.add_hint(start, at[thing, step][1])
    for (thing, number, step, person), does in doers.items():
        model.add_hint(does, plan["levels"].get(thing) == number and at[thing, step][0] == person)
