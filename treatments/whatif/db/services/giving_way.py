"""The search for the least that must give way, over the record as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from uuid import UUID

from treatments.planning.calendar import end_of_day
from treatments.planning.db.selectors.offers import MAKE_GOOD
from treatments.whatif.db import selectors
from treatments.whatif.db.models import GivingWay
from treatments.whatif.db.selectors import OWN_DATES, Ground
from treatments.whatif.db.services.keeping import TRIALS
from treatments.whatif.db.services.reckoning import chance_of, futures_of
from treatments.whatif.giving_way import Found, Rung, least

SIMPLER_PRICE, MAKE_GOOD_PRICE, DROP_PRICE = 2.0, 1.0, 6.0
MANDATORY_FACTOR = 3.0
ROUNDS = 3  # of searching on where other futures than those searched in fall short of the chance


def find_least(row: GivingWay, there: Ground, *, tell: Callable[[int], None]) -> dict[str, Any]:
    """The least that must give way, as plain values. Its chance is reckoned in futures that the search did not see."""
    work = there.work
    base = futures_of(there, work, seed=row.seed, trials=row.trials)
    opening = end_of_day(work.milestones["opening"], work.monday)
    late = (base.late if row.measure == OWN_DATES else base.ready > opening).mean(axis=0)
    weight = {UUID(name): 0.1 + float(share) for name, share in zip(base.object_ids, late, strict=True)}
    rungs, kinds = _rungs(there, set(row.allowed), weight)

    def chance(given: Mapping[str, int], *, seed: int, trials: int) -> float:
        changes = _changes({name: kinds[name][count - 1] for name, count in given.items()})
        supposed = selectors.suppose(there, changes)
        return chance_of(futures_of(there, supposed, seed=seed, trials=trials), there, supposed, row.measure)

    seen, wanted = 0, row.target
    for _ in range(ROUNDS):
        found = least(
            rungs, lambda given: chance(given, seed=row.seed, trials=row.trials), wanted,
            progress=lambda done, before=seen: tell(before + done),  # type: ignore[misc]
        )  # fmt: skip
        seen += found.evaluations
        checked = chance(found.given, seed=row.seed + 1, trials=TRIALS)
        if not found.reached or checked >= row.target:
            break
        wanted = min(0.999, wanted + (row.target - checked) + 0.005)
    return _answer(
        there, found, kinds, rungs, {"chance": checked, "start": chance({}, seed=row.seed + 1, trials=TRIALS)}
    )


def _rungs(
    there: Ground, allowed: set[str], weight: Mapping[UUID, float]
) -> tuple[dict[str, list[Rung]], dict[str, list[tuple[str, int]]]]:
    """Object to the ways in which it can give way, with prices, and what each is: ("simplify", levels) or ("drop", 0).

    Prices are own judgement: importance times 1 for making good after the opening, 2 for each other level, 6 for
    leaving it out; three times that for what must be ready.
    """
    rungs: dict[str, list[Rung]] = {}
    kinds: dict[str, list[tuple[str, int]]] = {}
    for plan in there.work.left:
        pk, name = plan.object_id, str(plan.object_id)
        dear = there.work.entries[pk].importance * (MANDATORY_FACTOR if pk in there.mandatory else 1.0)
        own, what, price = [], [], 0.0
        whole, before = selectors.bench(plan.counts), plan.level
        for count, level in enumerate(there.lighter.get(pk, ()), start=1):
            looks = before == MAKE_GOOD
            if not ((looks and "make_good" in allowed) or ("simplify" in allowed and _may(pk, there, allowed))):
                break
            price += dear * (MAKE_GOOD_PRICE if looks else SIMPLER_PRICE)
            own.append(Rung(price, weight.get(pk, 0.1) * (whole - selectors.bench(level))))
            what.append(("simplify", count))
            before = level.level.code
        if "drop" in allowed and _may(pk, there, allowed):
            own.append(Rung(max(price + dear, dear * DROP_PRICE), weight.get(pk, 0.1) * whole))
            what.append(("drop", 0))
        if own:
            rungs[name], kinds[name] = own, what
    return rungs, kinds


def _may(pk: UUID, there: Ground, allowed: set[str]) -> bool:
    return "mandatory" in allowed or pk not in there.mandatory


def _changes(given: Mapping[str, tuple[str, int]]) -> dict[str, Any]:
    return {
        "drop": sorted(name for name, (kind, _) in given.items() if kind == "drop"),
        "simplify": {name: count for name, (kind, count) in sorted(given.items()) if kind == "simplify"},
    }


def _answer(
    there: Ground,
    found: Found,
    kinds: Mapping[str, Sequence[tuple[str, int]]],
    rungs: Mapping[str, Sequence[Rung]],
    chances: Mapping[str, float],
) -> dict[str, Any]:
    lines: list[dict[str, Any]] = []
    for name, count in found.given.items():
        pk, (kind, levels) = UUID(name), kinds[name][count - 1]
        plan = there.work.plans[pk]
        to = there.lighter[pk][levels - 1] if kind == "simplify" else None
        lines.append(
            {
                "object": name, "number": there.numbers[pk], "importance": there.work.entries[pk].importance,
                "mandatory": pk in there.mandatory, "from": plan.counts.level.name, "to": to.level.name if to else "",
                "hours": selectors.bench(plan.counts) - (selectors.bench(to) if to else 0.0),
                "price": rungs[name][count - 1].price,
            }
        )  # fmt: skip
    lines.sort(key=lambda line: (line["to"] == "", -line["hours"], line["number"]))
    return {
        "reached": found.reached, "least": found.least, "evaluations": found.evaluations, "lines": lines, **chances,
        "changes": _changes({name: kinds[name][count - 1] for name, count in found.given.items()}),
        "hours": sum(line["hours"] for line in lines),
    }  # fmt: skip
