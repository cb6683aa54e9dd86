"""Synthetic treatment-planning instances, deterministic by seed.

Time is whole quarter-hours since Monday 00:00 of week 1. Hours, cures and skills are plausible guesses, not data.
A step of more than 4 h is given as sittings of at most 4 h, already split and chained.
"""

import math
import random

QUARTERS, DAY, WEEK = 4, 96, 672
# name, weekday -> (start hour, hours), skills: 36, 30, 24, 20, 16 and 8 hours a week
STAFF: list[tuple[str, dict[int, tuple[float, float]], list[str]]] = [
    ("S36", {0: (9, 7.5), 1: (9, 7.5), 2: (9, 7.5), 3: (9, 7.5), 4: (9, 6)}, ["exam", "solvent", "join", "fill"]),
    ("S30", {0: (8.5, 7.5), 1: (8.5, 7.5), 2: (8.5, 7.5), 3: (8.5, 7.5)}, ["exam", "join", "fill", "retouch"]),
    ("S24", {1: (9, 8), 2: (9, 8), 4: (9, 8)}, ["exam", "solvent", "join", "retouch"]),
    ("S20", {0: (10, 5), 1: (10, 5), 3: (10, 5), 4: (10, 5)}, ["photo", "mount", "exam"]),
    ("S16", {2: (9, 8), 3: (9, 8)}, ["mount", "fill", "solvent"]),
    ("S8", {0: (13, 4), 4: (9, 4)}, ["photo", "retouch"]),
]
# step kind: skill, resource, median hours, spread, shortest and longest cure in hours
KIND = {
    "exam": ("exam", None, 0.5, 0.4, 0, 0),
    "test": ("solvent", "hood", 0.5, 0.4, 1, 4),
    "consolidate": ("join", None, 0.6, 0.5, 4, 24),
    "strip": ("solvent", "hood", 1.6, 0.7, 4, 24),
    "clean": ("solvent", "hood", 0.8, 0.6, 1, 12),
    "join": ("join", None, 1.2, 0.7, 24, 72),
    "fill": ("fill", None, 1.2, 0.7, 24, 72),
    "level": ("fill", None, 0.6, 0.5, 0, 0),
    "retouch": ("retouch", None, 1.4, 0.7, 12, 48),
    "photo": ("photo", "bench", 0.35, 0.3, 0, 0),
    "mount": ("mount", None, 0.6, 0.6, 0, 0),
}
# level: name, kinds in a chain before photography, the step after which mounting may start, mean risk reduction
LEVELS = [
    ("stabilise", ["exam", "consolidate"], "consolidate", 0.35),
    ("rejoin", ["exam", "test", "strip", "join"], "join", 0.65),
    ("rejoin+fill", ["exam", "test", "strip", "clean", "join", "fill"], "join", 0.85),
    ("full", ["exam", "test", "strip", "clean", "join", "fill", "level"], "join", 0.95),
]


def make(objects=300, seed=1, weeks=14, team=1):
    """An instance with ``6 * team`` people; the order of draws is part of the seed's meaning."""
    draw = random.Random(seed)
    holidays = {draw.randrange(4, weeks - 1) * 7 + draw.choice([0, 4]) for _ in range(2)}
    staff = [person for n in range(team) for person in _staff(draw, n, weeks, holidays)]
    cases = [
        {"id": f"case{i}", "close_by": int((weeks - draw.choice([0, 0.4, 1, 1.4])) * WEEK - 2 * DAY)}
        for i in range(max(4, objects // 20))
    ]
    made = [_object(draw, i, draw.choice(cases)) for i in range(objects)]
    return {"seed": seed, "weeks": weeks, "staff": staff, "hoods": 2 * team, "benches": team, "objects": made}


def _staff(draw, number, weeks, holidays):
    for name, week, skills in STAFF:
        leave = draw.randrange(1, weeks - 2) * 7
        days = [d for d in range(weeks * 7) if d % 7 in week and d not in holidays and not leave <= d < leave + 7]
        shifts = []
        for d in days:
            start, hours = week[d % 7]
            shifts.append([d * DAY + int(start * QUARTERS), d * DAY + int((start + hours) * QUARTERS)])
        yield {"id": name if number == 0 else f"{name}-{number}", "skills": skills, "shifts": shifts}


def _object(draw, i, case):
    importance = draw.choice([1, 1, 1, 2, 2, 3, 5])
    risk = draw.betavariate(1.6, 2.2)
    level_count = draw.choice([2, 3, 3, 4])
    size = math.exp(draw.gauss(0, 0.45))
    close = case["close_by"]
    return {
        "id": f"o{i}",
        "case": case["id"],
        "importance": importance,
        "risk": round(risk, 3),
        "mandatory": risk > 0.6 and importance >= 2,
        "release": draw.choice([0, 0, 0, 1, 1, 2, 3, 4]) * WEEK,
        "photo_by": close - draw.choice([1, 2, 3]) * WEEK,
        "mount_by": close - 3 * DAY,
        "close_by": close,
        "levels": [_level(draw, *level, size, risk * importance) for level in LEVELS[:level_count]],
    }


def _level(draw, name, kinds, mount_after, reduction, size, worth):
    kinds = list(kinds)
    if name == "full" or (name == "rejoin+fill" and draw.random() < 0.5):
        kinds.append("retouch")
    reduction = min(0.99, max(0.05, draw.gauss(reduction, 0.06)))
    steps: list[dict] = []
    before: list[str] = []
    after: dict[str, list[str]] = {}
    for kind in [*kinds, "photo", "mount"]:
        sittings = _sittings(draw, kind, size, after[mount_after] if kind == "mount" else before)
        steps += sittings
        after[kind] = [sittings[-1]["id"]]
        if kind not in ("photo", "mount"):
            before = after[kind]
    return {
        "name": name,
        "risk_reduction": round(reduction, 3),
        "benefit": round(worth * reduction * 1000),
        "steps": steps,
    }


def _sittings(draw, kind, size, preds):
    skill, resource, median, spread, shortest, longest = KIND[kind]
    hours = min(12, max(0.25, median * size * math.exp(draw.gauss(0, spread))))
    q = max(1, round(hours * QUARTERS))
    cure = draw.randint(shortest, longest) * QUARTERS
    parts = math.ceil(q / 16)
    sittings = []
    for part in range(parts):
        name = kind if parts == 1 else f"{kind}{part}"
        sittings.append(
            {
                "id": name,
                "kind": kind,
                "skill": skill,
                "resource": resource,
                "q": q // parts + (part < q % parts),
                "cure": cure if part == parts - 1 else 0,
                "preds": preds,
            }
        )
        preds = [name]
    return sittings
