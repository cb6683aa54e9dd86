"""What is kept of a forecast beside its chances: counts week by week, who and what decides the end."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
BUFFERS = (0.5, 0.8, 0.95)


def ready_counts(ready: ArrayLike, ends: Sequence[float], quantiles: Sequence[float]) -> Floats:
    """[ends, quantiles]: how many objects are ready by each moment, over trials.

    ``ready`` [trials, objects] and ``ends`` in one unit; ``inf`` is never. ValueError unless ``ready`` has two axes.
    """
    moments = np.asarray(ready, float)
    if moments.ndim != 2:
        raise ValueError("ready must be trials by objects")
    if not moments.size:
        return np.zeros((len(ends), len(quantiles)))
    counts = np.stack([(moments <= end).sum(axis=1) for end in ends])
    return np.quantile(counts, quantiles, axis=1, method="inverted_cdf").T.astype(float)


def last_shares(ready: ArrayLike) -> Floats:
    """[objects]: share of trials in which each is the last to be ready; those that end together share a trial.

    The chance that an activity decides the end is its criticality (Van Slyke 1963, Operations Research 11, 839-860,
    from memory). ``ready`` [trials, objects]; ``inf`` is never.
    """
    moments = np.asarray(ready, float)
    if moments.ndim != 2:
        raise ValueError("ready must be trials by objects")
    if not moments.size:
        return np.zeros(moments.shape[1])
    last = moments == moments.max(axis=1, keepdims=True)
    return (last / last.sum(axis=1, keepdims=True)).mean(axis=0)


def share_of_lateness(late: NDArray[np.bool_], cause: NDArray[np.int16], causes: int) -> Floats:
    """[causes]: of all that is late in all trials, the share that each cause keeps; noughts where nothing is late."""
    counts = np.bincount(cause[late].astype(np.int64), minlength=causes).astype(float)
    return counts / counts.sum() if counts.sum() else counts
