"""What scoring takes in: one row per joint, plain arrays, checked once."""

from dataclasses import dataclass, field, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.risk.adhesives import ADHESIVES, Adhesive, in_order
from survey.risk.identification import CLASSES
from survey.risk.load import MOVES, SHARED_SCATTER, STRENGTH_BY_STAGE, STRENGTH_SCATTER, LoadInputs, ShockLevels
from survey.risk.stages import AGE_TRUST, MISCLASSIFICATION, OPEN, PRIORS, STAGES, StagePrior


@dataclass(frozen=True)
class Assumptions:
    """Everything a department may set: priors of the stages, adhesives, shocks, scatter, how well surveyors see."""

    priors: tuple[StagePrior, ...] = tuple(PRIORS.values())
    adhesives: tuple[Adhesive, ...] = ADHESIVES
    shocks: ShockLevels = field(default_factory=ShockLevels)
    share_by_stage: tuple[float, ...] = STRENGTH_BY_STAGE
    scatter: float = STRENGTH_SCATTER
    shared_scatter: float = SHARED_SCATTER
    age_trust: float = AGE_TRUST
    horizon_years: float = 30.0  # over which the long-term yearly rate is taken
    misclassification: NDArray[np.float64] = field(default_factory=lambda: MISCLASSIFICATION)

    def __post_init__(self) -> None:
        in_order(self.adhesives)
        if not self.priors:
            raise ValueError("priors must hold at least one")
        shares = self.share_by_stage
        if len(shares) != len(STAGES) or shares[OPEN] != 0 or any(after > before for before, after in pairwise(shares)):
            raise ValueError("share_by_stage must fall from stage to stage and end with 0 for an open joint")
        if not self.horizon_years > 0:
            raise ValueError("horizon_years must be more than zero")

    @property
    def middle(self) -> int:
        """Place of the prior by which objects are ranked: the one of middle mean life."""
        return int(np.argsort([prior.mean_years for prior in self.priors], kind="stable")[len(self.priors) // 2])


@dataclass(frozen=True)
class JointInputs:
    """Joints [j] of objects numbered from 0, with milestones [m] and moves [k] in the order of ``load.MOVES``.

    Attributes
    ----------
    object_count : int
    object_index : int [j], the object of each joint
    class_probabilities : [j, c], in the order of ``identification.CLASSES``, rows sum to 1
    age_now : [j], equivalent years since the joint was made; nan if not known
    visit_ago : [j, v], equivalent years from each visit to now, not increasing; nan where there was none
    visit_stages : int [j, v], as seen; -1 where none was recorded
    rate_per_year : [j], equivalent years per calendar year from now on
    years_ahead : [j, m], calendar years from now to each milestone, not decreasing in m
    moves : [j, m, k], how often each kind of move is made before each milestone, not decreasing in m
    load : LoadInputs [j]
    rate_factor : [j], what makes this joint pass through its stages faster or slower than its class does
    """

    object_count: int
    object_index: NDArray[np.int64]
    class_probabilities: NDArray[np.float64]
    age_now: NDArray[np.float64]
    visit_ago: NDArray[np.float64]
    visit_stages: NDArray[np.int64]
    rate_per_year: NDArray[np.float64]
    years_ahead: NDArray[np.float64]
    moves: NDArray[np.float64]
    load: LoadInputs
    rate_factor: NDArray[np.float64]

    def __post_init__(self) -> None:
        joints = self.object_index.size
        _shape("object_index", self.object_index, (joints,))
        for name in ("age_now", "rate_per_year", "rate_factor"):
            _shape(name, getattr(self, name), (joints,))
        _shape("class_probabilities", self.class_probabilities, (joints, len(CLASSES)))
        _shape("years_ahead", self.years_ahead, (joints, None))
        _shape("moves", self.moves, (joints, self.years_ahead.shape[1], len(MOVES)))
        _shape("visit_ago", self.visit_ago, (joints, None))
        _shape("visit_stages", self.visit_stages, self.visit_ago.shape)
        for size in fields(LoadInputs):
            _shape(f"load.{size.name}", getattr(self.load, size.name), (joints,))
        self._check_values()

    def _check_values(self) -> None:
        """Ranges and order; stages and visits are checked where they are used."""
        if np.any((self.object_index < 0) | (self.object_index >= self.object_count)):
            raise ValueError("object_index must lie between 0 and object_count - 1")
        shares = self.class_probabilities
        if np.any(~(shares >= 0)) or not np.allclose(shares.sum(axis=1), 1.0, atol=1e-6):
            raise ValueError("class_probabilities must not be negative and must add up to 1 for each joint")
        for name in ("rate_per_year", "rate_factor", "years_ahead", "moves"):
            values = getattr(self, name)
            if not np.all(np.isfinite(values)) or np.any(values < 0):
                raise ValueError(f"{name} must be finite and not negative")
        for name in ("years_ahead", "moves"):
            if np.any(np.diff(getattr(self, name), axis=1) < 0):
                raise ValueError(f"{name} must not decrease from one milestone to the next")

    @property
    def last_seen(self) -> NDArray[np.int64]:
        """Stage at the last visit that recorded one [j]; -1 where none did."""
        last = np.full(self.object_index.size, -1, dtype=np.int64)
        for seen, ago in zip(self.visit_stages.T, self.visit_ago.T, strict=True):
            last = np.where((seen >= 0) & np.isfinite(ago), seen, last)
        return last

    def only(self, rows: NDArray[np.int64]) -> "JointInputs":
        """The inputs of some joints alone; objects keep their numbers."""
        load = LoadInputs(**{size.name: getattr(self.load, size.name)[rows] for size in fields(LoadInputs)})
        others = {each.name for each in fields(self)} - {"object_count", "load"}
        return replace(self, load=load, **{name: getattr(self, name)[rows] for name in others})

    def changed(self, **arrays: Any) -> "JointInputs":
        """The same joints with some arrays replaced; for asking what would change a score."""
        return replace(self, **arrays)


def _shape(name: str, array: NDArray[Any], expected: tuple[int | None, ...]) -> None:
    """ValueError by name unless the shape is as expected; None stands for any length."""
    if len(array.shape) != len(expected) or any(
        want is not None and got != want for got, want in zip(array.shape, expected, strict=True)
    ):
        wanted = ", ".join("any" if want is None else str(want) for want in expected)
        raise ValueError(f"{name} must have shape ({wanted}), not {array.shape}")
