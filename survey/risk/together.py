"""Scores with what joints share: adhesive, pace and handling tie the joints of an object to each other.

``objects.score_objects`` takes joints as independent and overstates the chance that one of several lets go. Here the
joints of a restoration are independent only once its adhesive and its pace are given, and all joints of an object only
once it is given how the object is handled; the chance is summed over all of these. What visits saw of one joint then
also speaks for its neighbours: a joint that failed early makes a fast adhesive, or a bad hand, more likely.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.risk.adhesives import speeds
from survey.risk.bonds import Bonds, loss_with_dependents
from survey.risk.holding import HoldTable
from survey.risk.identification import CLASSES, NITRATE
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.objects import JointScores, ObjectScores, unsure_ranks, use_as_seen, worst_joints, yearly_rate
from survey.risk.parts import Order, Part
from survey.risk.passing import Passages, Way, passages
from survey.risk.stages import OPEN, StagePrior
from survey.risk.summing import class_weights, mix_classes, score_objects_together

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Together:
    """Scores of joints [j], restorations [r] and objects [n] under each prior [p], before each milestone [m].

    Attributes
    ----------
    joints : JointScores
    objects : ObjectScores
        ``before`` with what is shared; ``at_least`` the worst joint alone.
    apart : [p, n, m], chance that any joint fails if the same joints were independent
    falls : [p, j, m], chance that a joint, or one that carries its part, lets go
    without : [p, j, m], the object's chance if this joint could not fail
    loss : [p, n, m], expected share of the object lost; 0 unless losses were given
    classes : [p, j, c], adhesive of each joint, with what visits saw counted
    nitrate_now : [p, j, s], chance that a joint holds by cellulose nitrate and is in each stage today
    restorations : [p, r, c], adhesive of each restoration, likewise
    given_class : [p, r, c], the object's chance before the last milestone for each class of a restoration
    """

    joints: JointScores
    objects: ObjectScores
    apart: Floats
    falls: Floats
    without: Floats
    loss: Floats
    classes: Floats
    nitrate_now: Floats
    restorations: Floats
    given_class: Floats


def score_together(
    inputs: JointInputs, bonds: Bonds, assumptions: Assumptions | None = None, *, loss: Floats | None = None
) -> Together:
    """Score joints and objects with their shared causes.

    Parameters
    ----------
    inputs : JointInputs [j]
    bonds : Bonds, of the same joints
    assumptions : Assumptions, optional
    loss : [j], optional, share of the object's value lost when a joint lets go, what falls with it not counted

    Returns
    -------
    Together
        An object without joints gets 0. The chance of an object is never below that of its worst joint; it is below
        that of independent joints wherever what is shared moves all joints the same way, as pace and handling do.

    Raises
    ------
    ValueError
        Ties that do not fit the joints; visits out of order or stages out of range, named.

    Notes
    -----
    Sums over classes are exact, over pace and handling at 5 Gauss-Hermite nodes each. Handling is taken as lasting:
    an object is handled alike in all its moves. Where a joint lets go and carries others, their losses are added; one
    that fails by itself as well is then counted twice, which is rare.
    """
    chosen = assumptions or Assumptions()
    bonds.check(inputs)
    way = Way.of(inputs, chosen)
    lost = np.zeros(inputs.object_index.size) if loss is None else loss_with_dependents(loss, bonds.depends_on)
    additions, way_weights, scatter, shared = bonds.ways(chosen.scatter, chosen.shared_scatter)
    holds = way.holds(scatter=scatter, shared=shared)
    order = Order.of(inputs, bonds)
    results = [_under(prior, way, holds, bonds, order, (additions, way_weights), lost) for prior in chosen.priors]
    made = {name: np.stack([result[name] for result in results]) for name in results[0]}
    return _as_scores(inputs, chosen, made)


def chances_together(inputs: JointInputs, bonds: Bonds, assumptions: Assumptions | None = None) -> Floats:
    """Chance [n] that any joint of an object fails before the last milestone, by the middle belief alone.

    What ``score_together`` gives as ``objects.middle[:, -1]``, without all the rest: for asking what would change it.
    """
    chosen = assumptions or Assumptions()
    only = replace(chosen, priors=(chosen.priors[chosen.middle],))
    last = inputs.changed(years_ahead=inputs.years_ahead[:, -1:], moves=inputs.moves[:, -1:])
    return np.asarray(score_together(last, bonds, only).objects.middle[:, -1])


def _under(
    prior: StagePrior,
    way: Way,
    holds: HoldTable,
    bonds: Bonds,
    order: Order,
    handling: tuple[Floats, Floats],
    lost: Floats,
) -> dict[str, Floats]:
    """All results under one prior, in the order of the inputs."""
    joints, milestones = way.inputs.years_ahead.shape
    objects, groups = way.inputs.object_count, bonds.restorations.shape
    made = {
        "now": np.zeros((joints, OPEN + 1)), "later": np.zeros(joints), "classes": np.zeros((joints, len(CLASSES))),
        "opens": np.zeros((joints, milestones)), "chance": np.zeros((joints, milestones)),
        "falls": np.zeros((joints, milestones)), "without": np.zeros((joints, milestones)),
        "nitrate_now": np.zeros((joints, OPEN + 1)),
        "before": np.zeros((objects, milestones)), "loss": np.zeros((objects, milestones)),
        "restorations": bonds.restorations.copy(), "given_class": np.zeros(groups),
    }  # fmt: skip
    for part in order.parts():
        _part(part, prior, way, holds, bonds, handling, lost, made)
    return made


def _part(
    part: Part,
    prior: StagePrior,
    way: Way,
    holds: HoldTable,
    bonds: Bonds,
    handling: tuple[Floats, Floats],
    lost: Floats,
    made: dict[str, Floats],
) -> None:
    """Some objects: runs of every joint, class and pace; then the sums over what is shared."""
    rows, groups, objects = part.rows, part.groups, slice(part.begin, part.end)
    if not rows.size:
        return
    pace_weights = bonds.paces()[1]
    additions, way_weights = handling
    runs = _runs(part, prior, way, holds, bonds, additions)
    shape = (rows.size, len(CLASSES), pace_weights.size)
    likelihood, stands = runs.likelihood.reshape(shape), runs.stands.reshape(*shape, -1, additions.size)
    likelihood = likelihood / likelihood.max(axis=(1, 2), keepdims=True)
    follows, otherwise, of = bonds.follows[rows], bonds.otherwise[rows], bonds.restorations[groups]
    seen, closed = np.empty(shape), np.empty(stands.shape)
    mix_classes(likelihood, stands, follows, otherwise, seen, closed)
    weights, now_of = np.empty(shape), np.empty((groups.size, len(CLASSES)))
    class_weights(part.starts, of, pace_weights, likelihood, follows, otherwise, seen, weights, now_of)
    made["restorations"][groups] = now_of
    _mix_runs(made, rows, runs.now, runs.opens, runs.later, stands @ way_weights, weights)
    milestones = stands.shape[3]
    before, loss = np.zeros((part.first.size - 1, milestones)), np.zeros((part.first.size - 1, milestones))
    falls, without = made["chance"][rows], np.zeros((rows.size, milestones))
    given = np.zeros(now_of.shape)
    score_objects_together(
        part.first, part.starts, of, pace_weights, way_weights, seen, closed, part.depends_on,
        lost[rows], np.empty(rows.size), before, loss, falls, without, given,
    )  # fmt: skip
    made["before"][objects], made["loss"][objects] = np.clip(before, 0, 1), np.clip(loss, 0, 1)
    made["falls"][rows], made["without"][rows] = np.clip(falls, 0, 1), np.clip(without, 0, 1)
    made["given_class"][groups] = np.clip(given, 0, 1)


def _runs(part: Part, prior: StagePrior, way: Way, holds: HoldTable, bonds: Bonds, additions: Floats) -> Passages:
    """Every joint, class and pace [j * c * f] of a part taken through visits and moves; what cannot be is left 0."""
    rows, paces = part.rows, bonds.paces()[0]
    joint, kind, pace = (axis.ravel() for axis in np.indices((rows.size, len(CLASSES), paces.size)))
    of = bonds.restorations[bonds.restoration[rows]]
    possible = (bonds.otherwise[rows] > 0) | ((bonds.follows[rows] > 0) & (of > 0))
    clock = speeds(way.assumptions.adhesives)[kind] * way.inputs.rate_factor[rows[joint]] * paces[pace]
    some = np.flatnonzero(possible[joint, kind])
    runs = passages(way, prior, holds, rows[joint[some]], kind[some], clock[some], additions)
    return runs if some.size == joint.size else runs.among(joint.size, some)


def yearly_rates(inputs: JointInputs, bonds: Bonds, assumptions: Assumptions | None = None) -> Floats:
    """Long-term yearly rate [p, n] of the first joint to open by itself, under each prior.

    What ``score_together`` gives as ``objects.per_year``, without the moves and all that hangs on them.
    """
    chosen = assumptions or Assumptions()
    bonds.check(inputs)
    still = inputs.changed(
        years_ahead=np.zeros((inputs.object_index.size, 1)), moves=np.zeros_like(inputs.moves[:, :1])
    )
    way, order, pace_weights = Way.of(still, chosen), Order.of(inputs, bonds), bonds.paces()[1]
    holds = way.holds(scatter=chosen.scatter, shared=chosen.shared_scatter)
    yearly = np.zeros((len(chosen.priors), inputs.object_count))
    for place, prior in enumerate(chosen.priors):
        for part in order.parts():
            if not part.rows.size:
                continue
            runs, rows = _runs(part, prior, way, holds, bonds, np.zeros(1)), part.rows
            shape = (rows.size, len(CLASSES), pace_weights.size)
            likelihood, empty = runs.likelihood.reshape(shape), np.empty((*shape, 0, 1))
            likelihood = likelihood / likelihood.max(axis=(1, 2), keepdims=True)
            follows, otherwise, of = bonds.follows[rows], bonds.otherwise[rows], bonds.restorations[part.groups]
            seen, weights, posterior = np.empty(shape), np.empty(shape), np.empty(of.shape)
            mix_classes(likelihood, empty, follows, otherwise, seen, np.empty(empty.shape))
            class_weights(part.starts, of, pace_weights, likelihood, follows, otherwise, seen, weights, posterior)
            open_now, later = ((weights.ravel() * values).reshape(rows.size, -1).sum(axis=1)
                               for values in (runs.now[:, OPEN], runs.later))  # fmt: skip
            np.add.at(yearly[place], inputs.object_index[rows], yearly_rate(open_now, later, chosen.horizon_years))
    return yearly


def _mix_runs(
    made: dict[str, Floats], rows: Whole, now: Floats, opens: Floats, later: Floats, stands: Floats, weights: Floats
) -> None:
    """Runs [q, ...] weighted into the joints ``rows``."""
    flat = weights.reshape(rows.size, 1, -1)
    made["classes"][rows] = weights.sum(axis=2)
    made["now"][rows] = (flat @ now.reshape(rows.size, -1, OPEN + 1))[:, 0]
    of_nitrate = now.reshape(*weights.shape, OPEN + 1)[:, NITRATE]
    made["nitrate_now"][rows] = (weights[:, NITRATE, None, :] @ of_nitrate)[:, 0]
    made["later"][rows] = (flat @ later.reshape(rows.size, -1, 1))[:, 0, 0]
    made["opens"][rows] = np.clip((flat @ opens.reshape(rows.size, -1, opens.shape[1]))[:, 0], 0, 1)
    made["chance"][rows] = np.clip(1.0 - (flat @ stands.reshape(rows.size, -1, opens.shape[1]))[:, 0], 0, 1)


def _as_scores(inputs: JointInputs, assumptions: Assumptions, made: dict[str, Floats]) -> Together:
    """Results [p, ...] as the scores that pages read."""
    opens, chance, before = made["opens"], made["chance"], made["before"]
    with np.errstate(invalid="ignore", divide="ignore"):
        gives = np.clip(np.where(opens < 1.0, (chance - opens) / (1.0 - opens), 0.0), 0.0, 1.0)
    now = made["now"]
    per_year = yearly_rate(now[..., OPEN], made["later"], assumptions.horizon_years)
    at_least, apart, yearly = np.zeros(before.shape), np.zeros(before.shape), np.zeros(before.shape[:2])
    with np.errstate(divide="ignore"):
        kept = np.log1p(-chance)
    for prior in range(before.shape[0]):
        np.maximum.at(at_least[prior], inputs.object_index, chance[prior])
        np.add.at(apart[prior], inputs.object_index, kept[prior])
        np.add.at(yearly[prior], inputs.object_index, per_year[prior])
    before = np.maximum(before, at_least)  # rounding
    joints = JointScores(now, opens, gives, chance, per_year, use_as_seen(inputs, assumptions))
    middle = assumptions.middle
    objects = ObjectScores(
        before, at_least, before.min(axis=0), before[middle], before.max(axis=0), yearly,
        worst_joints(chance[middle], inputs), unsure_ranks(before),
    )  # fmt: skip
    given = np.where(np.isnan(made["given_class"]), 0.0, made["given_class"])
    return Together(
        joints, objects, -np.expm1(apart), made["falls"], made["without"], made["loss"], made["classes"],
        made["nitrate_now"], made["restorations"], given,
    )  # fmt: skip
