"""Step tables of the levels of treatment, and what they come to for one object.

A *table* (``fixtures/step_rates.json`` holds the defaults) names steps, and levels made of steps in the order in
which they are done. Parsed, it is a dict, which
`treatments.options.tables.parse_table` checks:

``schema``
    1.
``basis``
    ``{"status": str, "grounds": str, "cautions": [str, ...]}``: what the rates rest on, and what to mind.
``assumed_drivers``
    ``{driver: {"range": [low, likely, high], "grounds": str}}``: what stands in for a driver that nobody measured.
    Every driver of `DRIVERS` must be there.
``steps``
    A list of ``{"code", "name", "kind", "skill", "resource", "base_hours", "per_driver", "wait_hours",
    "only_with", "grounds"}``. ``base_hours`` (above zero) and ``wait_hours`` are ``[low, likely, high]`` in hours;
    ``per_driver`` is ``{driver: [low, likely, high]}`` in hours per unit of that driver; ``wait_hours`` begins when
    the step ends and takes nobody's time; ``only_with`` lists drivers of which at least one must be above zero for
    the step to be done at all (empty: always done). ``per_driver``, ``wait_hours``, ``only_with`` may be left out.
``levels``
    A list, from least to most work, of ``{"code", "name", "meaning", "joint_scope", "look_again_months", "steps",
    "grounds"}``. ``steps`` are codes; ``joint_scope`` says what the drivers count: ``"none"``, the ``"failing"``
    joints (with the sherds, paint and fills at them), or ``"all"``.

In every ``[low, likely, high]`` low and high are the values that one job in ten stays under and one in ten goes over.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

DRIVERS = ("joints", "joint_length_cm", "fill_area_cm2", "paint_area_cm2", "sherds")
SKILLS = ("examine", "solvent", "join", "fill", "retouch", "photograph", "mount")
SKILL_WORDS = {
    "examine": "examine", "solvent": "work with solvents", "join": "take down and join", "fill": "fill and shape",
    "retouch": "retouch", "photograph": "photograph", "mount": "make mounts",
}  # fmt: skip
RESOURCES = ("fume_hood", "photography_bench", "none")
KINDS = (
    "photograph", "examine", "test", "secure", "reduce_overpaint", "take_down", "clean_edges", "dry_fit",
    "join", "support", "fill", "shape", "retouch", "adjust_gloss", "write_up",
)  # fmt: skip
SCOPES = ("none", "failing", "all")

MAX_DRIVER = 1_000_000.0


@dataclass(frozen=True, slots=True)
class ThreePoint:
    """Low, likely and high: one in ten below, most often, one in ten above."""

    low: float
    likely: float
    high: float

    def __add__(self, other: ThreePoint) -> ThreePoint:
        return ThreePoint(self.low + other.low, self.likely + other.likely, self.high + other.high)

    def __mul__(self, other: ThreePoint) -> ThreePoint:
        return ThreePoint(self.low * other.low, self.likely * other.likely, self.high * other.high)


ZERO = ThreePoint(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class StepRate:
    """One step: whose work it is, where it is done, how its hours grow, how long the object then waits."""

    code: str
    name: str
    kind: str
    skill: str
    resource: str
    base_hours: ThreePoint
    per_driver: Mapping[str, ThreePoint] = field(default_factory=dict)
    wait_hours: ThreePoint = ZERO
    only_with: tuple[str, ...] = ()
    grounds: str = ""


@dataclass(frozen=True, slots=True)
class LevelRates:
    """One level of treatment: its steps in order, what its drivers count, when to look again."""

    code: str
    name: str
    meaning: str
    joint_scope: str
    look_again_months: int
    steps: tuple[StepRate, ...]
    grounds: str = ""


@dataclass(frozen=True, slots=True)
class StepTable:
    """A whole validated table. ``level(code)`` raises ValueError for a code that it does not hold."""

    status: str
    grounds: str
    cautions: tuple[str, ...]
    assumed_drivers: Mapping[str, ThreePoint]
    assumed_grounds: Mapping[str, str]
    levels: tuple[LevelRates, ...]

    def level(self, code: str) -> LevelRates:
        for level in self.levels:
            if level.code == code:
                return level
        known = ", ".join(level.code for level in self.levels)
        raise ValueError(f"level: there is no {code!r} in this table; it has {known}")


@dataclass(frozen=True, slots=True)
class StepHours:
    """A step of one object: working hours, the wait after it, and the drivers that were assumed, not measured."""

    code: str
    name: str
    kind: str
    skill: str
    resource: str
    hours: ThreePoint
    wait: ThreePoint
    assumed: tuple[str, ...] = ()


def expand(
    level: LevelRates,
    drivers: Mapping[str, float | ThreePoint | None],
    assumed_drivers: Mapping[str, ThreePoint],
) -> tuple[StepHours, ...]:
    """The steps of one level for one object, in order, with three-point hours and waits.

    Hours of a step are its base plus rate times driver, point by point: within a step everything is taken to run
    low or high together, which widens the range rather than hiding it. Steps that ``only_with`` rules out are left
    out; an unmeasured driver counts as present.

    Parameters
    ----------
    level : LevelRates
    drivers : mapping of driver to number, range or None
        Counted within ``level.joint_scope``. Missing, None or nan is "not known": ``assumed_drivers`` stands in and
        the step says so. Zero is a finding: there is none.
    assumed_drivers : mapping of driver to range
        Usually ``StepTable.assumed_drivers``.

    Returns
    -------
    tuple of StepHours; empty for a level without work.

    Raises
    ------
    ValueError
        An unknown driver, a negative, infinite or absurdly large one, a range out of order; a driver that is
        neither given nor assumed.
    """
    known = _known_drivers(drivers)
    return tuple(_step_hours(step, known, assumed_drivers) for step in level.steps if _is_done(step, known))


def _is_done(step: StepRate, known: Mapping[str, ThreePoint]) -> bool:
    return not step.only_with or any(name not in known or known[name].high > 0 for name in step.only_with)


def _step_hours(
    step: StepRate, known: Mapping[str, ThreePoint], assumed_drivers: Mapping[str, ThreePoint]
) -> StepHours:
    hours, assumed = step.base_hours, []
    for name, rate in step.per_driver.items():
        if name not in known:
            if name not in assumed_drivers:
                raise ValueError(
                    f"assumed_drivers: {name} is neither measured nor assumed, and step {step.code} needs it"
                )
            assumed.append(name)
        hours = hours + rate * (known[name] if name in known else assumed_drivers[name])
    return StepHours(
        step.code, step.name, step.kind, step.skill, step.resource, hours, step.wait_hours, tuple(assumed)
    )  # fmt: skip


def _known_drivers(drivers: Mapping[str, float | ThreePoint | None]) -> dict[str, ThreePoint]:
    known = {}
    for name, value in drivers.items():
        if name not in DRIVERS:
            raise ValueError(f"drivers: there is no driver {name!r}; there are {', '.join(DRIVERS)}")
        if value is None or (isinstance(value, float) and math.isnan(value)):
            continue
        given = (value.low, value.likely, value.high) if isinstance(value, ThreePoint) else (value,) * 3
        points = [float(point) for point in given]
        known[name] = three_points(points, f"drivers: {name}", MAX_DRIVER)
    return known


def three_points(data: object, place: str, most: float) -> ThreePoint:
    """A list of low, likely, high as a ThreePoint; ValueError, beginning with ``place``, for anything else."""
    points = data if isinstance(data, list | tuple) else ()
    numbers = [p for p in points if isinstance(p, int | float) and not isinstance(p, bool)]
    if len(points) != 3 or len(numbers) != 3:
        raise ValueError(f"{place}: must be three numbers, low, likely, high")
    if not all(0 <= n <= most for n in numbers):  # nan fails this too
        raise ValueError(f"{place}: must lie between 0 and {most:g}")
    low, likely, high = (float(n) for n in numbers)  # not before: a huge int has no float
    if not low <= likely <= high:
        raise ValueError(f"{place}: low, likely, high must not fall ({low:g}, {likely:g}, {high:g})")
    return ThreePoint(low, likely, high)
