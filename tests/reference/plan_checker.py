"""Is a plan valid? Written without reference to any solver.

Rules: each object takes at most one level; one person who has its skill does a sitting, without a break, inside
one shift; nobody does two things at once; at most ``hoods`` and ``benches`` sittings at once; a step starts no earlier
than its object's release and, for each predecessor, its end plus its cure by the wall clock; photography, mounting and
the whole (with cure) end by their dates.
"""

from collections import defaultdict
from itertools import pairwise


def check(instance, plan):
    """Errors, benefit, mandatory objects planned, mandatory objects in all."""
    at = {(thing, step): (person, start) for thing, step, person, start in plan["steps"]}
    staff = {person["id"]: person for person in instance["staff"]}
    errors: list[str] = []
    bookings: dict[tuple[str, str], list[tuple[int, int]]] = defaultdict(list)
    benefit, done = 0, 0
    if len(at) < len(plan["steps"]):
        errors.append("a step is planned twice")
    for thing in instance["objects"]:
        chosen = plan["levels"].get(thing["id"])
        if chosen is None:
            continue
        level = thing["levels"][chosen]
        benefit += level["benefit"]
        done += thing["mandatory"]
        errors += _object_errors(thing, level, at, staff, bookings)
    errors += _booking_errors(instance, bookings)
    return errors, benefit, done, sum(thing["mandatory"] for thing in instance["objects"])


def _object_errors(thing, level, at, staff, bookings):
    by_id = {step["id"]: step for step in level["steps"]}
    for step in level["steps"]:
        name = f"{thing['id']}/{step['id']}"
        if (thing["id"], step["id"]) not in at:
            yield f"{name} missing"
            continue
        person, start = at[thing["id"], step["id"]]
        end = start + step["q"]
        if step["skill"] not in staff[person]["skills"]:
            yield f"{name} skill"
        if not any(a <= start and end <= b for a, b in staff[person]["shifts"]):
            yield f"{name} outside shift"
        if start < thing["release"]:
            yield f"{name} before release"
        limit = {"photo": thing["photo_by"], "mount": thing["mount_by"]}.get(step["kind"], thing["close_by"])
        if end > limit or end + step["cure"] > thing["close_by"]:
            yield f"{name} late"
        for before in step["preds"]:
            planned = at.get((thing["id"], before))
            if planned and planned[1] + by_id[before]["q"] + by_id[before]["cure"] > start:
                yield f"{name} before {before} cured"
        bookings["person", person].append((start, end))
        bookings["resource", step["resource"]].append((start, end))


def _booking_errors(instance, bookings):
    for (what, name), spans in bookings.items():
        if what == "person" and any(a[1] > b[0] for a, b in pairwise(sorted(spans))):
            yield f"{name} double-booked"
    for name, capacity in (("hood", instance["hoods"]), ("bench", instance["benches"])):
        spans = bookings["resource", name]
        changes = sorted([(start, 1) for start, _ in spans] + [(end, -1) for _, end in spans])
        count = 0
        for _, change in changes:
            count += change
            if count > capacity:
                yield f"{name} over capacity"
                break
