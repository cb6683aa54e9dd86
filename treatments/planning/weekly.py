"""Which level in which week: a linear programme over whole weeks, rounded to a plan.

A column is an object's level begun in a week, with the hours per skill and week it would take on an empty calendar.
People's hours flow to their skills week by week. What the programme likes best is then planned step by step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import coo_array, csr_array

from media.compiled import compiled
from treatments.planning.greedy import improve_in_order, ladder, level_hours
from treatments.planning.problem import WEEK, Problem, Work
from treatments.planning.staffing import Staffing
from treatments.planning.timetable import Timetable, empty_timetable, insert_level, remove_object

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
ENOUGH = 0.3  # share of an object's best column above which the object is planned
MOST_WEEKS = 60  # beyond it, a column may begin every second week, and so on


@dataclass(frozen=True)
class WeeklyModel:
    """Columns of the programme: level, first week and hours by (skill, week); and who has how many hours for what."""

    level: Ints
    week: Ints
    hours: csr_array  # [skill x week, columns]
    flow: csr_array  # [skill x week, flows]: -1 where a flow gives hours
    use: csr_array  # [person x week, flows]
    supply: Floats  # [person x week]


def weekly_model(problem: Problem) -> WeeklyModel:
    """All columns that the dates allow, and the flows of hours."""
    work, staffing = problem.work, problem.staffing
    weeks = problem.horizon // WEEK
    starts = np.arange(0, weeks, 1 + weeks // MOST_WEEKS)
    pairs = len(work.benefit) * len(starts)
    fits, need = np.zeros(pairs, np.bool_), np.zeros((pairs, len(staffing.skill_ptr) - 1, weeks), np.int32)
    fill_columns(work, staffing, empty_timetable(problem), starts, fits, need)
    level, week = (
        a[fits] for a in (np.repeat(np.arange(len(work.benefit)), len(starts)), np.tile(starts, len(work.benefit)))
    )
    hours = csr_array(need[fits].reshape(int(fits.sum()), need.shape[1] * weeks).T.astype(float))
    supply = np.zeros((len(staffing.shift_ptr) - 1, weeks))
    owner = np.repeat(np.arange(len(supply)), np.diff(staffing.shift_ptr))
    np.add.at(supply, (owner, staffing.shift_start // WEEK), staffing.shift_end - staffing.shift_start)
    skill = np.repeat(np.arange(len(staffing.skill_ptr) - 1), np.diff(staffing.skill_ptr))
    rows = (skill[:, None] * weeks + np.arange(weeks)).ravel()
    uses = (staffing.able[:, None] * weeks + np.arange(weeks)).ravel()
    ones, flows = np.ones(len(rows)), np.arange(len(rows))
    flow = csr_array(coo_array((-ones, (rows, flows)), shape=(hours.shape[0], len(rows))))
    use = csr_array(coo_array((ones, (uses, flows)), shape=(supply.size, len(rows))))
    return WeeklyModel(level, week, hours, flow, use, supply.ravel())


@compiled
def fill_columns(
    work: Work, staffing: Staffing, table: Timetable, starts: np.ndarray, fits: np.ndarray, need: np.ndarray
) -> None:
    """Plan each level alone from each week on, and note the hours that it takes by skill and week."""
    for level in range(len(work.benefit)):
        i = work.owner[level]
        for at in range(len(starts)):
            since = starts[at] * 672
            if at > 0 and since <= work.release[i]:
                continue
            column = level * len(starts) + at
            if not insert_level(work, staffing, table, level, i, since):
                break
            fits[column] = True
            for step in range(work.step_ptr[level], work.step_ptr[level + 1]):
                need[column, work.skill[step], table.when[step] // 672] += work.q[step]
            remove_object(work, staffing, table, i)


def solve_weekly(problem: Problem, model: WeeklyModel, fill: float) -> Floats:
    """Shares of the columns in the optimum when only ``fill`` of all hours may be used.

    Mandatory objects weigh so much that they come first, without making the programme infeasible.
    """
    work = problem.work
    if not len(model.level):
        return np.zeros(0)
    columns, flows = len(model.level), model.flow.shape[1]
    owner = work.owner[model.level]
    weight = work.benefit[model.level] + work.mandatory[owner] * 2.0 * work.benefit.max(initial=1)
    one = csr_array(coo_array((np.ones(columns), (owner, np.arange(columns))), shape=(problem.objects, columns)))
    blocks = csr_array(_block(one, model, flows))
    limits = np.concatenate((np.ones(problem.objects), np.zeros(model.hours.shape[0]), fill * model.supply))
    cost = np.concatenate((-weight, np.zeros(flows)))
    # The interior point method takes a third of the simplex method's time or less; it too ends at a corner.
    found = linprog(cost, A_ub=blocks, b_ub=limits, bounds=(0, None), method="highs-ipm")
    return np.zeros(columns) if found.x is None else found.x[:columns]


def _block(one: csr_array, model: WeeklyModel, flows: int) -> coo_array:
    """Rows: one level per object; hours needed not above hours that flow; hours that flow not above hours there are."""
    parts = [
        (one, 0, 0),
        (model.hours, one.shape[0], 0),
        (model.flow, one.shape[0], one.shape[1]),
        (model.use, one.shape[0] + model.hours.shape[0], one.shape[1]),
    ]
    found = [(part.tocoo(), row, column) for part, row, column in parts]
    rows = np.concatenate([p.row + r for p, r, _ in found])
    columns = np.concatenate([p.col + c for p, _, c in found])
    shape = (one.shape[0] + model.hours.shape[0] + model.use.shape[0], one.shape[1] + flows)
    return coo_array((np.concatenate([p.data for p, *_ in found]), (rows, columns)), shape=shape)


def round_weekly(problem: Problem, model: WeeklyModel, shares: Floats) -> Timetable:
    """Plan each object's best column: mandatory first, then by first week, then by benefit per hour; then what fits."""
    work, staffing = problem.work, problem.staffing
    table, hours = empty_timetable(problem), level_hours(work)
    if len(shares):
        owner = work.owner[model.level]
        order = np.lexsort((-shares, owner))
        first = order[np.flatnonzero(np.diff(owner[order], prepend=-1))]
        first = first[(shares[first] > ENOUGH) | (work.mandatory[owner[first]] > 0)]
        per_hour = work.benefit[model.level[first]] / np.maximum(hours[model.level[first]], 1)
        first = first[np.lexsort((-per_hour, model.week[first], -work.mandatory[owner[first]]))]
        insert_columns(work, staffing, table, model.level[first], model.week[first] * WEEK)
    improve_in_order(work, staffing, table, ladder(work, hours))
    return table


@compiled
def insert_columns(work: Work, staffing: Staffing, table: Timetable, levels: np.ndarray, since: np.ndarray) -> None:
    """Plan each level no earlier than its week, else at any time, else a lower level of the object."""
    for at in range(len(levels)):
        i = work.owner[levels[at]]
        if insert_level(work, staffing, table, levels[at], i, since[at]):
            continue
        for level in range(levels[at], work.level_ptr[i] - 1, -1):
            if insert_level(work, staffing, table, level, i, 0):
                break
