"""Load on a joint: stress from weight, leverage and shock, against strength that falls stage by stage.

Strengths, shocks and the sizes of parts are expert defaults unless a source stands beside them: no bond strength of
old cellulose nitrate on ceramic is published. They are values to edit, not findings.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

STANDARD_GRAVITY = 9.80665  # m/s2
STRENGTH_BY_STAGE = (1.0, 0.7, 0.3, 0.05, 0.0)  # share of the sound strength left, stages 0 to 4
STRENGTH_SCATTER = 0.5  # standard deviation of the log of stress over strength
SHARED_SCATTER = 0.5  # share of that variance that stays with the joint from move to move
WARM_MARGIN_C = 10.0

Entry = TypeVar("Entry")

_REACH = 6.0  # standard deviations covered by the sum over a joint's own scatter; 2e-9 of the mass lies beyond


def joint_stress(
    mass_kg: ArrayLike, length_mm: ArrayLike, thickness_mm: ArrayLike, lever_mm: ArrayLike, g: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    r"""Pull and bending stress in a joint that carries a hanging part.

    .. math:: \sigma = m g G / (L t), \quad \sigma_b = m g G c / (L t^2 / 6)

    Parameters
    ----------
    mass_kg : array_like, kg, >= 0, of what hangs on the joint
    length_mm : array_like, mm, > 0, along the break
    thickness_mm : array_like, mm, > 0, of the wall
    lever_mm : array_like, mm, >= 0, from the joint to the centre of mass of the part
    g : array_like, dimensionless, >= 0, peak acceleration as a multiple of gravity (1 at rest)

    Returns
    -------
    (ndarray, ndarray)
        Pull and bending in Pa, shape of the five broadcast together; nan where an input is nan.

    Raises
    ------
    ValueError
        A negative or zero size, named.

    Notes
    -----
    Source: beam theory for a rectangular section (closed form). Leverage and wall thickness dominate.

    Examples
    --------
    >>> pull, bending = joint_stress(0.12, 100, 5, 50, 1)
    >>> pull.round(1), bending.round(0)
    (np.float64(2353.6), np.float64(141216.0))
    """
    mass, lever, shock = (_sized(n, v) for n, v in (("mass_kg", mass_kg), ("lever_mm", lever_mm), ("g", g)))
    length, thickness = _sized("length_mm", length_mm, above=True), _sized("thickness_mm", thickness_mm, above=True)
    force = mass * STANDARD_GRAVITY * shock
    length_m, thickness_m, lever_m = length / 1000.0, thickness / 1000.0, lever / 1000.0
    pull = force / (length_m * thickness_m)
    bending = force * lever_m / (length_m * thickness_m**2 / 6.0)
    return np.asarray(pull)[()], np.asarray(bending)[()]


def strength(
    sound_pa: ArrayLike, stage: ArrayLike, *, share_by_stage: tuple[float, ...] = STRENGTH_BY_STAGE
) -> NDArray[np.float64]:
    """Strength in Pa of a joint in ``stage`` (0 to 4) whose sound strength is ``sound_pa``."""
    stages = np.asarray(stage)
    if not np.issubdtype(stages.dtype, np.integer) or np.any((stages < 0) | (stages >= len(share_by_stage))):
        raise ValueError(f"stage must be whole numbers from 0 to {len(share_by_stage) - 1}")
    return _sized("sound_pa", sound_pa, above=True) * np.asarray(share_by_stage, dtype=np.float64)[stages]


def utilisation(stress_pa: ArrayLike, strength_pa: ArrayLike) -> NDArray[np.float64]:
    """Stress over strength: above 1 the joint is expected to give; infinite where no strength is left."""
    stress, left = _sized("stress_pa", stress_pa), _sized("strength_pa", strength_pa)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = stress / left
    return np.where(left == 0, np.inf, ratio)[()]


def failure_chance(
    used: ArrayLike, counts: ArrayLike = 1, *, scatter: float = STRENGTH_SCATTER, shared: float = SHARED_SCATTER
) -> NDArray[np.float64]:
    r"""Chance that a joint gives at least once under a set of moves.

    For one move of utilisation u: :math:`\Phi(\ln u / s)`. Over several moves, part of the scatter is the joint's own
    (its strength does not change from one move to the next) and part each move's own (how it was handled): given the
    joint's own part, moves are independent.

    Parameters
    ----------
    used : array_like [..., k], utilisation of each kind of move, >= 0, may be infinite
    counts : array_like [..., k], how often each kind of move is made, >= 0
    scatter : float, > 0
        Standard deviation of the log of utilisation (lognormal).
    shared : float, 0 to 1
        Share of its variance that belongs to the joint. 0: every move a fresh draw; 1: only the worst move counts.

    Returns
    -------
    ndarray [...]
        In [0, 1]; nan where an input is nan.

    Raises
    ------
    ValueError
        An argument out of range, named.
    """
    if not (np.isfinite(scatter) and scatter > 0):
        raise ValueError("scatter must be more than zero")
    if not 0 <= shared <= 1:
        raise ValueError("shared must lie between 0 and 1")
    ratios, times = _sized("used", used, infinite=True), np.atleast_1d(_sized("counts", counts))
    if shared == 1:
        return np.asarray(ndtr(np.max(np.where(times > 0, _log(ratios), -np.inf), axis=-1) / scatter))[()]
    logs = np.atleast_1d(_log(ratios) / scatter)
    survival = np.zeros(np.broadcast_shapes(logs.shape, np.shape(times))[:-1])
    for node, weight in _normal_nodes(shared):
        one_holds = ndtr(-(logs + np.sqrt(shared) * node) / np.sqrt(1.0 - shared))
        survival += weight * np.exp(np.einsum("...k,...k->...", times, np.log(np.maximum(one_holds, 1e-320))))
    return np.clip(1.0 - survival, 0.0, 1.0)[()]


def _normal_nodes(shared: float) -> list[tuple[float, float]]:
    """Evenly spaced nodes of a standard normal with their weights, closer where the chance given a node is steeper.

    The plain sum converges geometrically for smooth functions on the whole line: errors below 1e-6 (tested).
    """
    step = 0.3 * min(1.0, np.sqrt((1.0 - shared) / max(shared, 1e-12)))
    nodes = np.linspace(-_REACH, _REACH, min(801, int(np.ceil(2.0 * _REACH / step)) + 1))
    weights = np.exp(-(nodes**2) / 2.0)
    return list(zip(nodes.tolist(), (weights / weights.sum()).tolist(), strict=True))


def _log(ratios: NDArray[np.float64]) -> NDArray[np.float64]:
    """Logarithm, minus infinity at zero."""
    with np.errstate(divide="ignore"):
        return np.log(ratios)


@dataclass(frozen=True)
class ShockLevels:
    """Peak acceleration of one move of each kind, as a multiple of gravity (expert defaults, from handling practice).

    A hand lifts at 1 to 2 g; a trolley gives 2 to 5 g; a lorry on a road 0.5 to 2 g (from memory).
    """

    lift: float = 2.0  # up from the shelf and down again
    photograph: float = 2.0  # carried to the bench, turned
    mount: float = 3.0  # pressed against a mount or wired
    travel: float = 5.0  # trolley, crate and lorry

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not (np.isfinite(value) and value >= 1):
                raise ValueError(f"{field.name} must be at least 1: an object at rest already bears its own weight")

    def as_array(self) -> NDArray[np.float64]:
        """Levels in the order of ``MOVES``."""
        return np.array([getattr(self, kind) for kind in MOVES])


MOVES: tuple[str, ...] = tuple(field.name for field in fields(ShockLevels))


@dataclass(frozen=True)
class PartShape:
    """How a part hangs on its joint: shares of the object's mass, width and height (expert defaults).

    ``length_of_width`` and ``lever_of_height`` give the joint's length and the lever arm.
    """

    mass_share: float
    length_of_width: float
    lever_of_height: float


PART_SHAPES: dict[str, PartShape] = {
    "rim": PartShape(0.05, 0.5, 0.06),
    "neck": PartShape(0.15, 1.2, 0.12),
    "wall": PartShape(0.10, 0.8, 0.06),
    "handle": PartShape(0.06, 0.3, 0.10),
    "spout": PartShape(0.05, 0.3, 0.10),
    "foot": PartShape(0.90, 1.8, 0.05),
    "base": PartShape(0.80, 2.0, 0.05),
    "limb": PartShape(0.10, 0.3, 0.15),
    "head": PartShape(0.15, 0.5, 0.15),
    "lid": PartShape(0.10, 0.8, 0.05),
    "other": PartShape(0.15, 0.6, 0.10),
}

# Common names of the same places on a vessel or figure (common practice).
_PART_WORDS: dict[str, str] = {
    "lip": "rim", "edge": "rim", "shoulder": "neck", "body": "wall", "side": "wall", "well": "wall", "bowl": "wall",
    "stem": "foot", "footring": "foot", "bottom": "base", "arm": "limb", "leg": "limb", "wing": "limb",
    "finial": "lid", "knob": "lid", "cover": "lid",
}  # fmt: skip

BODY_DENSITIES: dict[str, float] = {  # kg/m3, middle of the usual range (from memory)
    "earthenware": 1950.0,
    "stoneware": 2250.0,
    "porcelain": 2400.0,
    "unknown": 2200.0,
}


@dataclass(frozen=True)
class LoadInputs:
    """What the load model needs of each joint, measured or estimated, arrays [j]."""

    mass_kg: NDArray[np.float64]
    length_mm: NDArray[np.float64]
    thickness_mm: NDArray[np.float64]
    lever_mm: NDArray[np.float64]
    estimated: NDArray[np.bool_]  # True where any of the four is not measured

    def peak_stress(self, g: ArrayLike) -> NDArray[np.float64]:
        """Pull plus bending at the worst fibre, Pa, [j, k] for shocks ``g`` [k]."""
        mass, length, thickness, lever = (
            size[:, None] for size in (self.mass_kg, self.length_mm, self.thickness_mm, self.lever_mm)
        )
        pull, bending = joint_stress(mass, length, thickness, lever, np.asarray(g)[None, :])
        return pull + bending


def part_code(name: str) -> str:
    """The part of ``PART_SHAPES`` that a surveyor's words for a place point to; ``other`` if none."""
    words = name.lower().replace("-", " ").split()
    singular = [word[:-1] if word.endswith("s") and word[:-1] in _PART_WORDS | PART_SHAPES else word for word in words]
    for word in singular:
        if word in PART_SHAPES:
            return word
        if word in _PART_WORDS:
            return _PART_WORDS[word]
    return "other"


def load_inputs(
    part: ArrayLike,
    height_mm: ArrayLike,
    width_mm: ArrayLike,
    *,
    body: ArrayLike = "unknown",
    mass_kg: ArrayLike = np.nan,
    length_mm: ArrayLike = np.nan,
    thickness_mm: ArrayLike = np.nan,
    lever_mm: ArrayLike = np.nan,
) -> LoadInputs:
    """Measured load inputs, with what was not measured estimated from the object's size and the part.

    Parameters
    ----------
    part : array_like of str [j], codes of ``PART_SHAPES`` (see ``part_code``)
    height_mm, width_mm : array_like [j], mm, of the object; nan is taken as 200
    body : array_like of str [j], codes of ``BODY_DENSITIES``
    mass_kg, length_mm, thickness_mm, lever_mm : array_like [j]
        Of the part that hangs on the joint, as measured; nan where it was not.

    Raises
    ------
    ValueError
        An unknown code, or a size that is not more than zero, named.

    Notes
    -----
    The object is taken as a closed-bottomed cylinder; walls 3 to 25 mm thick, growing with size.
    All shares are expert defaults.
    """
    parts, bodies, height, width = np.broadcast_arrays(
        np.atleast_1d(np.asarray(part)),
        np.asarray(body),
        _sized("height_mm", height_mm, above=True),
        _sized("width_mm", width_mm, above=True),
    )
    shapes = [_known("part", str(code), PART_SHAPES) for code in parts]
    density = np.array([_known("body", str(code), BODY_DENSITIES) for code in bodies])
    mass_share = np.array([shape.mass_share for shape in shapes])
    height, width = (np.where(np.isnan(size), 200.0, size) for size in (height, width))
    measured = {
        "thickness_mm": _sized("thickness_mm", thickness_mm, above=True),
        "mass_kg": _sized("mass_kg", mass_kg, above=True),
        "length_mm": _sized("length_mm", length_mm, above=True),
        "lever_mm": _sized("lever_mm", lever_mm),
    }
    wall = _filled(measured["thickness_mm"], np.clip(0.025 * np.maximum(height, width), 3.0, 25.0))
    area_m2 = np.pi * width * (height + width / 4.0) / 1e6
    guesses = {
        "mass_kg": mass_share * density * area_m2 * wall / 1000.0,
        "length_mm": np.array([shape.length_of_width for shape in shapes]) * width,
        "lever_mm": np.array([shape.lever_of_height for shape in shapes]) * height,
    }
    sizes = {name: _filled(measured[name], guess) for name, guess in guesses.items()}
    missing = [np.broadcast_to(np.isnan(values), parts.shape) for values in measured.values()]
    return LoadInputs(thickness_mm=wall, estimated=np.logical_or.reduce(missing), **sizes)


def softens(
    temperature_c: ArrayLike, glass_transition_c: ArrayLike, *, solvent_drop_c: ArrayLike = 0.0
) -> NDArray[np.bool_]:
    """Whether a joint may creep: the warmest expected temperature comes within 10 °C of its glass transition.

    ``solvent_drop_c`` (0 to 30 °C) lowers the transition while solvent is still held in a recent joint.
    Source: Vincotte and others, Heritage Science 7 (2019), s40494-019-0283-9: up to 30 °C below the theoretical.
    nan in either temperature gives False: not known is not a finding.
    """
    drop = np.asarray(solvent_drop_c, dtype=np.float64)
    if np.any((drop < 0) | (drop > 30)):
        raise ValueError("solvent_drop_c must lie between 0 and 30")
    warmest = np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(warmest + WARM_MARGIN_C > np.asarray(glass_transition_c, dtype=np.float64) - drop)[()]


def _filled(measured: NDArray[np.float64], guess: NDArray[np.float64]) -> NDArray[np.float64]:
    """The measured value, or the guess where there is none."""
    return np.where(np.isnan(measured), guess, measured)


def _known(name: str, code: str, table: Mapping[str, Entry]) -> Entry:
    """The entry of a table, or ValueError naming the argument and what it may be."""
    if code not in table:
        raise ValueError(f"{name} must be one of {', '.join(sorted(table))}, not {code!r}")
    return table[code]


def _sized(name: str, values: ArrayLike, *, above: bool = False, infinite: bool = False) -> NDArray[np.float64]:
    """Numbers of zero or more (more than zero with ``above``), nan allowed; else ValueError by name."""
    numbers = np.asarray(values, dtype=np.float64)
    if np.any(numbers <= 0 if above else numbers < 0) or (not infinite and np.any(np.isinf(numbers))):
        raise ValueError(f"{name} must be finite and {'more than zero' if above else 'not negative'}")
    return numbers
