"""Batches of joints put together into one, for what looks at a whole collection at once."""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.risk.inputs import JointInputs
from survey.risk.load import LoadInputs
from survey.risk.whole import Told


def joined(parts: Sequence[JointInputs]) -> JointInputs:
    """The joints of several batches, one after another; objects are numbered on from batch to batch.

    Visits are filled up with empty ones on the left, so that the newest stands last, as everywhere.
    """
    if not parts:
        raise ValueError("parts must be at least one")
    before = np.cumsum([0, *(part.object_count for part in parts[:-1])])
    widest = max(part.visit_ago.shape[1] for part in parts)
    load = {size.name: np.concatenate([getattr(part.load, size.name) for part in parts]) for size in fields(LoadInputs)}
    own: dict[str, Any] = {
        "object_index": np.concatenate([part.object_index + first for part, first in zip(parts, before, strict=True)]),
        "visit_ago": np.concatenate([_filled(part.visit_ago, widest, np.nan) for part in parts]),
        "visit_stages": np.concatenate([_filled(part.visit_stages, widest, -1) for part in parts]),
        "load": LoadInputs(**load),
    }
    rest = {each.name for each in fields(JointInputs)} - own.keys() - {"object_count"}
    stacked: dict[str, Any] = {name: np.concatenate([getattr(part, name) for part in parts]) for name in rest}
    return JointInputs(object_count=sum(part.object_count for part in parts), **own, **stacked)


def joined_told(parts: Sequence[Told]) -> Told:
    """What the record says of several batches, as of one; restorations are numbered on from batch to batch."""
    inputs = joined([part.inputs for part in parts])
    before = np.cumsum([0, *(part.workshop.size for part in parts[:-1])])
    plain = ("codes", "workshop", "years", "keys", "loss")
    return Told(
        inputs=inputs,
        rounds=np.concatenate([_filled(part.rounds, inputs.visit_stages.shape[1], -1) for part in parts]),
        restoration=np.concatenate([part.restoration + first for part, first in zip(parts, before, strict=True)]),
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in plain},
    )


def _filled(values: NDArray[np.generic], width: int, empty: float) -> NDArray[np.generic]:
    left = np.full((values.shape[0], width - values.shape[1]), empty, dtype=values.dtype)
    return np.concatenate([left, values], axis=1)
