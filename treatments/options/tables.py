"""Reading a table of step rates: everything is checked before anything is used. The schema stands in `steps`."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence, Set
from typing import Any, TypeVar

from treatments.options.steps import (
    DRIVERS,
    KINDS,
    MAX_DRIVER,
    RESOURCES,
    SCOPES,
    SKILLS,
    LevelRates,
    StepRate,
    StepTable,
    ThreePoint,
    three_points,
)

# Bounds of what a table may hold: it can come from a file that somebody edited.
MAX_STEPS, MAX_LEVELS, MAX_STEPS_IN_LEVEL, MAX_TEXT = 200, 40, 60, 600
MAX_HOURS, MAX_MONTHS = 2_000.0, 600
_CODE = re.compile(r"[a-z][a-z0-9_]{0,39}")
_Entry = TypeVar("_Entry", StepRate, LevelRates)


def parse_table(data: object) -> StepTable:
    """Check a parsed table (see the top of `treatments.options.steps`) and make it of dataclasses.

    Raises
    ------
    ValueError
        The first thing wrong, with the place of it, such as ``steps[3] (join): skill must be one of ...``.
    """
    table = _mapping(data, "table", {"schema", "basis", "assumed_drivers", "steps", "levels"})
    if type(table["schema"]) is not int or table["schema"] != 1:
        raise ValueError("schema: must be 1")
    basis = _mapping(table["basis"], "basis", {"status", "grounds", "cautions"})
    cautions = _list(basis["cautions"], "basis.cautions", 20)
    ranges, grounds = _assumed(table["assumed_drivers"])
    steps = _unique([_step(s, f"steps[{i}]") for i, s in enumerate(_list(table["steps"], "steps", MAX_STEPS))], "steps")
    levels = _list(table["levels"], "levels", MAX_LEVELS)
    if not levels:
        raise ValueError("levels: must hold at least one level")
    parsed = _unique([_level(level, f"levels[{i}]", steps) for i, level in enumerate(levels)], "levels")
    return StepTable(
        status=_text(basis["status"], "basis.status"),
        grounds=_text(basis["grounds"], "basis.grounds"),
        cautions=tuple(_text(c, f"basis.cautions[{i}]") for i, c in enumerate(cautions)),
        assumed_drivers=ranges,
        assumed_grounds=grounds,
        levels=tuple(parsed.values()),
    )


def _assumed(data: object) -> tuple[dict[str, ThreePoint], dict[str, str]]:
    entries = _mapping(data, "assumed_drivers", set(DRIVERS))
    ranges, grounds = {}, {}
    for name in DRIVERS:
        place = f"assumed_drivers.{name}"
        entry = _mapping(entries[name], place, {"range", "grounds"})
        ranges[name] = three_points(entry["range"], f"{place}.range", MAX_DRIVER)
        grounds[name] = _text(entry["grounds"], f"{place}.grounds")
    return ranges, grounds


def _step(data: object, place: str) -> StepRate:
    optional = {"per_driver", "wait_hours", "only_with"}
    entry = _mapping(data, place, {"code", "name", "kind", "skill", "resource", "base_hours", "grounds"}, optional)
    code = _code(entry["code"], f"{place}: code")
    place = f"{place} ({code})"
    base = three_points(entry["base_hours"], f"{place}: base_hours", MAX_HOURS)
    if not base.low > 0:
        raise ValueError(f"{place}: base_hours must be above zero; what takes nobody's time is a wait")
    rates = _mapping(entry.get("per_driver", {}), f"{place}: per_driver", set(), set(DRIVERS))
    only_with = _list(entry.get("only_with", []), f"{place}: only_with", len(DRIVERS))
    return StepRate(
        code=code,
        name=_text(entry["name"], f"{place}: name"),
        kind=_one_of(entry["kind"], f"{place}: kind", KINDS),
        skill=_one_of(entry["skill"], f"{place}: skill", SKILLS),
        resource=_one_of(entry["resource"], f"{place}: resource", RESOURCES),
        base_hours=base,
        per_driver={n: three_points(r, f"{place}: per_driver.{n}", MAX_HOURS) for n, r in rates.items()},
        wait_hours=three_points(entry.get("wait_hours", [0, 0, 0]), f"{place}: wait_hours", MAX_HOURS),
        only_with=tuple(_one_of(n, f"{place}: only_with", DRIVERS) for n in only_with),
        grounds=_text(entry["grounds"], f"{place}: grounds"),
    )


def _level(data: object, place: str, steps: Mapping[str, StepRate]) -> LevelRates:
    keys = {"code", "name", "meaning", "joint_scope", "look_again_months", "steps", "grounds"}
    entry = _mapping(data, place, keys)
    code = _code(entry["code"], f"{place}: code")
    place = f"{place} ({code})"
    months = entry["look_again_months"]
    if type(months) is not int or not 0 < months <= MAX_MONTHS:
        raise ValueError(f"{place}: look_again_months must be a whole number from 1 to {MAX_MONTHS}")
    codes = _list(entry["steps"], f"{place}: steps", MAX_STEPS_IN_LEVEL)
    for step in codes:
        if not isinstance(step, str) or step not in steps:
            raise ValueError(f"{place}: steps names {_shown(step)}, which is not among the steps")
    if len(set(codes)) != len(codes):
        raise ValueError(f"{place}: steps names a step twice")
    scope = _one_of(entry["joint_scope"], f"{place}: joint_scope", SCOPES)
    if codes and scope == "none":
        raise ValueError(f"{place}: joint_scope must be failing or all, since the level has steps")
    return LevelRates(
        code=code,
        name=_text(entry["name"], f"{place}: name"),
        meaning=_text(entry["meaning"], f"{place}: meaning"),
        joint_scope=scope,
        look_again_months=months,
        steps=tuple(steps[step] for step in codes),
        grounds=_text(entry["grounds"], f"{place}: grounds"),
    )


def _mapping(data: object, place: str, required: Set[str], optional: Set[str] = frozenset()) -> Mapping[str, Any]:
    if not isinstance(data, Mapping):
        raise ValueError(f"{place}: must be an object with keys")
    missing, unknown = sorted(required - data.keys()), [k for k in data if k not in required | optional]
    if missing:
        raise ValueError(f"{place}: {', '.join(missing)} missing")
    if unknown:
        raise ValueError(f"{place}: unknown key {_shown(unknown[0])}")
    return data


def _list(data: object, place: str, most: int) -> Sequence[Any]:
    if not isinstance(data, list | tuple):
        raise ValueError(f"{place}: must be a list")
    if len(data) > most:
        raise ValueError(f"{place}: has {len(data)} entries, at most {most} are allowed")
    return data


def _text(data: object, place: str) -> str:
    if not isinstance(data, str) or not data.strip() or len(data) > MAX_TEXT:
        raise ValueError(f"{place}: must be text of 1 to {MAX_TEXT} characters")
    return data.strip()


def _code(data: object, place: str) -> str:
    if not isinstance(data, str) or not _CODE.fullmatch(data):
        raise ValueError(f"{place} must be 1 to 40 of a-z, 0-9 and _, beginning with a letter")
    return data


def _one_of(data: object, place: str, allowed: Sequence[str]) -> str:
    if not isinstance(data, str) or data not in allowed:
        raise ValueError(f"{place} must be one of {', '.join(allowed)}, not {_shown(data)}")
    return data


def _shown(data: object) -> str:
    """Foreign text for a message: quoted and cut."""
    text = repr(data)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _unique(entries: Sequence[_Entry], place: str) -> dict[str, _Entry]:
    by_code: dict[str, _Entry] = {}
    for entry in entries:
        if entry.code in by_code:
            raise ValueError(f"{place}: the code {entry.code} stands twice")
        by_code[entry.code] = entry
    return by_code
