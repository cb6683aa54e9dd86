"""Rows of visits checked and turned into intervals, moves and parameters, for ``panel.fit_panel``."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.risk.panel_likelihood import HiddenModel, Intervals, RateModel

Move = tuple[int, int]
Shared = Mapping[str, Literal["all"] | Sequence[Sequence[Move]]] | Literal["all"]


def allowed_moves(allowed: ArrayLike) -> NDArray[np.bool_]:
    """Direct moves [n, n] without the diagonal, or ValueError."""
    moves = np.asarray(allowed)
    if moves.ndim != 2 or moves.shape[0] != moves.shape[1] or moves.shape[0] < 2:
        raise ValueError("allowed must be square, with two states or more")
    if not np.all((moves == 0) | (moves == 1)):
        raise ValueError("allowed must hold True or False only")
    moves = moves.astype(np.bool_) & ~np.eye(moves.shape[0], dtype=np.bool_)
    if not moves.any():
        raise ValueError("allowed must allow at least one move")
    return moves


def visits(
    subject: ArrayLike, time: ArrayLike, state: ArrayLike, states: int
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """Subjects numbered from 0 in order of appearance, times and states [r], checked."""
    names, times, seen = np.asarray(subject), np.asarray(time, dtype=np.float64), np.asarray(state)
    if names.ndim != 1 or names.size == 0 or times.shape != names.shape or seen.shape != names.shape:
        raise ValueError("subject, time and state must be rows of one length, at least one")
    if not np.all(np.isfinite(times)):
        raise ValueError("time must be finite")
    whole = seen.astype(np.float64)
    if not np.all(whole == np.floor(whole)) or np.any((whole < 0) | (whole >= states)):
        raise ValueError(f"state must be whole numbers from 0 to {states - 1}")
    new = np.append(True, names[1:] != names[:-1])
    if int(new.sum()) != np.unique(names).size:
        raise ValueError("subject must keep the rows of each subject together")
    if np.any((np.diff(times) < 0) & ~new[1:]):
        raise ValueError("time must not decrease within a subject")
    return np.cumsum(new) - 1, times, whole.astype(np.int64)


def covariate_columns(
    covariates: Mapping[str, ArrayLike] | ArrayLike | None, rows: int
) -> tuple[tuple[str, ...], NDArray[np.float64]]:
    """Names and values [r, x]; columns of a plain array are named by their number."""
    if covariates is None:
        return (), np.zeros((rows, 0))
    if isinstance(covariates, Mapping):
        names = tuple(str(name) for name in covariates)
        columns = [np.asarray(values, dtype=np.float64) for values in covariates.values()]
        if any(column.shape != (rows,) for column in columns):
            raise ValueError("covariates must have one value for each row")
        table = np.stack(columns, axis=1) if columns else np.zeros((rows, 0))
    else:
        table = np.asarray(covariates, dtype=np.float64)
        table = table[:, None] if table.ndim == 1 else table
        names = tuple(str(column) for column in range(table.shape[-1]))
    if table.ndim != 2 or table.shape[0] != rows:
        raise ValueError("covariates must have one row for each visit")
    if not np.all(np.isfinite(table)):
        raise ValueError("covariates must be finite: leave out visits with a missing value")
    return names, table


def exact_flags(exact_states: Sequence[int], moves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which states [n] are entered at the recorded time; they must be absorbing."""
    flags = np.zeros(moves.shape[0], dtype=np.bool_)
    for state in exact_states:
        if not 0 <= state < flags.size or moves[state].any():
            raise ValueError(f"exact_states must be absorbing states, not {state}")
        flags[state] = True
    return flags


def intervals(
    subjects: NDArray[np.int64],
    times: NDArray[np.float64],
    states: NDArray[np.int64],
    covariates: NDArray[np.float64],
    exact: NDArray[np.bool_],
) -> tuple[Intervals, NDArray[np.float64]]:
    """Intervals between visits, sharing lengths and covariates, and the covariates' means over their starts.

    ``exact`` [r]: the state of a visit was entered at its very time, unless it was there at the visit before.
    """
    follows = np.flatnonzero(subjects[1:] == subjects[:-1])
    if follows.size == 0:
        raise ValueError("subject must have at least one subject seen twice")
    first = np.flatnonzero(np.append(True, subjects[1:] != subjects[:-1]))
    means = covariates[follows].mean(axis=0)
    keys = np.column_stack([times[follows + 1] - times[follows], covariates[follows] - means])
    unique, group = np.unique(keys, axis=0, return_inverse=True)
    before = states[follows]
    data = Intervals(
        start=before,
        end=states[follows + 1],
        exact=exact[follows + 1] & (states[follows + 1] != before),
        group=group.reshape(-1),
        elapsed=unique[:, 0],
        centred=unique[:, 1:],
        subject=subjects[follows],
        visit=follows - first[subjects[follows]],
        first_state=states[first],
    )
    return data, means


def or_worse(data: Intervals, subjects: NDArray[np.int64], at_least: NDArray[np.bool_], states: int) -> Intervals:
    """The same, the visits ``at_least`` [r] telling no more than that state or any of a higher number.

    Only a subject's last visit may be so, not its first; ValueError otherwise.
    """
    follows = np.flatnonzero(subjects[1:] == subjects[:-1])
    allowed = np.append(subjects[1:] != subjects[:-1], True) & np.append(False, subjects[1:] == subjects[:-1])
    if np.any(at_least & ~allowed):
        raise ValueError("at_least must mark last visits alone, not first ones")
    vague = at_least[follows + 1]
    if np.any(vague & (data.end == 0)):
        raise ValueError("at_least must not mark the lowest state, which tells nothing so")
    return replace(data, end=np.where(vague, data.end + states - 1, data.end))


def refuse_impossible(data: Intervals, moves: NDArray[np.bool_]) -> None:
    """ValueError for an interval whose two states no allowed way connects."""
    reach = moves | np.eye(moves.shape[0], dtype=np.bool_)
    for _ in range(moves.shape[0]):
        reach = (reach.astype(np.int64) @ reach.astype(np.int64)) > 0
    at_once = (data.elapsed[data.group] == 0) & (data.start != data.end)
    if at_once.any():
        raise ValueError("time must pass between two visits of a subject that see different states")
    lost = np.flatnonzero(~reach[data.start, data.end])
    if lost.size:
        start, end = int(data.start[lost[0]]), int(data.end[lost[0]])
        raise ValueError(f"state goes from {start} to {end}, which allowed does not permit in any number of moves")


def rate_model(
    moves: NDArray[np.bool_], names: Sequence[str], shared: Shared | None
) -> tuple[RateModel, tuple[str, ...]]:
    """Which parameter carries which effect, and the names of the parameters."""
    source, target = np.nonzero(moves)
    order = {(int(i), int(j)): place for place, (i, j) in enumerate(zip(source, target, strict=True))}
    labels = [rate_name(move) for move in order]
    slot = np.full((len(names), source.size), -1, dtype=np.int64)
    unknown = set(shared) - set(names) if isinstance(shared, Mapping) else set()
    if unknown:
        raise ValueError(f"shared names covariates that are not given: {', '.join(sorted(map(str, unknown)))}")
    for row, name in enumerate(names):
        for group in _groups(name, shared, list(order)):
            for move in group:
                if tuple(move) not in order or slot[row, order[move]] >= 0:
                    raise ValueError(f"shared must name each allowed move once for {name}, not {move}")
                slot[row, order[move]] = len(labels)
            labels.append(f"{name} on {', '.join(f'{i}->{j}' for i, j in group)}")
    return RateModel(moves.shape[0], source, target, slot, len(labels)), tuple(labels)


def rate_name(move: Move) -> str:
    """Name of the parameter that is the log rate of a move."""
    return f"log rate {move[0]}->{move[1]}"


def _groups(name: str, shared: Shared | None, moves: list[Move]) -> list[list[Move]]:
    """Groups of moves that share one effect of a covariate."""
    wanted = shared if shared is None or isinstance(shared, str) else shared.get(name)
    if wanted is None:
        return [[move] for move in moves]
    if isinstance(wanted, str):
        if wanted != "all":
            raise ValueError(f'shared must be "all" or groups of moves, not {wanted!r}')
        return [moves]
    return [[(int(i), int(j)) for i, j in group] for group in wanted if len(group)]


def crude_rates(data: Intervals, model: RateModel) -> NDArray[np.float64]:
    """Starting rates [a]: changes of state out of each state over the time spent from it, shared among its moves."""
    time = np.bincount(data.start, data.elapsed[data.group], model.states)
    left = np.bincount(data.start, data.start != data.end, model.states)
    overall = (left.sum() + 0.5) / max(time.sum(), 1e-12)
    exits = np.bincount(model.source, minlength=model.states)
    by_state = np.where((left > 0) & (time > 0), left / np.maximum(time, 1e-12), overall)
    return np.asarray((by_state / np.maximum(exits, 1))[model.source])


def hidden_model(
    matrix: ArrayLike, estimate: bool, initial: ArrayLike | None, model: RateModel, data: Intervals
) -> tuple[HiddenModel, NDArray[np.float64], tuple[str, ...]]:
    """The hidden part, starting values of its parameters and their names."""
    error = np.asarray(matrix, dtype=np.float64)
    size = model.states
    if error.shape != (size, size) or np.any(~(error >= 0)) or not np.allclose(error.sum(axis=1), 1.0):
        raise ValueError("misclassification must be [n, n], not negative, with rows that sum to 1")
    starts: list[float] = []
    labels: list[str] = []
    error_slots = np.full((size, size), -1, dtype=np.int64)
    if estimate:
        if np.any(np.diagonal(error) <= 0):
            raise ValueError("misclassification must start with each state sometimes seen rightly")
        for true, seen in zip(*np.nonzero((error > 0) & ~np.eye(size, dtype=np.bool_)), strict=True):
            error_slots[true, seen] = model.parameters + len(starts)
            starts.append(float(np.log(error[true, seen] / error[true, true])))
            labels.append(f"logit seen {seen} when {true}")
    initial_slots = np.full(size, -1, dtype=np.int64)
    first = np.bincount(data.first_state, minlength=size) + 0.5
    if initial is None:
        for state in range(1, size):
            initial_slots[state] = model.parameters + len(starts)
            starts.append(float(np.log(first[state] / first[0])))
            labels.append(f"logit first {state}")
        begin = first / first.sum()
    else:
        begin = np.asarray(initial, dtype=np.float64)
        if begin.shape != (size,) or np.any(~(begin >= 0)) or not np.isclose(begin.sum(), 1.0):
            raise ValueError("misclassification must have an initial distribution [n] that sums to 1")
    parameters = model.parameters + len(starts)
    hidden = HiddenModel(model, error, error_slots, begin, initial_slots, parameters)
    return hidden, np.array(starts), tuple(labels)
