"""Objects whose joints share causes: the sums over what is shared, compiled.

Given a restoration's adhesive, its pace and the way the object is handled, joints are independent. So for each object
chances are summed over all of these: exactly over the classes, at a few nodes over pace and handling.
"""

from media.compiled import compiled
from survey.risk.bonds import Floats, Whole


@compiled
def mix_classes(
    likelihood: Floats, stands: Floats, follows: Floats, otherwise: Floats, seen: Floats, closed: Floats
) -> None:
    """Likelihood [j, z, f] and chance to hold times it [j, z, f, m, h], for each class z of the restoration.

    From runs ``likelihood`` [j, c, f] and ``stands`` [j, c, f, m, h].
    """
    joints, classes, paces = likelihood.shape
    for j in range(joints):
        for f in range(paces):
            rest = 0.0
            for c in range(classes):
                rest += otherwise[j, c] * likelihood[j, c, f]
            for z in range(classes):
                seen[j, z, f] = follows[j, z] * likelihood[j, z, f] + (1.0 - follows[j, z]) * rest
            for m in range(stands.shape[3]):
                for h in range(stands.shape[4]):
                    rest = 0.0
                    for c in range(classes):
                        rest += otherwise[j, c] * likelihood[j, c, f] * stands[j, c, f, m, h]
                    for z in range(classes):
                        own = likelihood[j, z, f] * stands[j, z, f, m, h]
                        closed[j, z, f, m, h] = follows[j, z] * own + (1.0 - follows[j, z]) * rest


@compiled
def class_weights(
    starts: Whole, restorations: Floats, pace_weights: Floats, likelihood: Floats, follows: Floats, otherwise: Floats,
    seen: Floats, weights: Floats, posterior: Floats,
) -> None:  # fmt: skip
    """Weight [j, c, f] of each class and pace of a joint, and [r, c] of each class of a restoration, visits counted.

    ``starts`` [r + 1], first joint of each restoration.
    """
    classes, paces = seen.shape[1], seen.shape[2]
    for r in range(starts.size - 1):
        total = 0.0
        for z in range(classes):
            posterior[r, z] = 0.0
            for f in range(paces):
                together = restorations[r, z] * pace_weights[f]
                for j in range(starts[r], starts[r + 1]):
                    together *= seen[j, z, f]
                posterior[r, z] += together
            total += posterior[r, z]
        for z in range(classes):
            posterior[r, z] /= total
        for j in range(starts[r], starts[r + 1]):
            for f in range(paces):
                apart = 0.0
                for z in range(classes):
                    others = restorations[r, z] * pace_weights[f] / total
                    for i in range(starts[r], starts[r + 1]):
                        if i != j:
                            others *= seen[i, z, f]
                    weights[j, z, f] = likelihood[j, z, f] * others * follows[j, z]
                    apart += others * (1.0 - follows[j, z])
                for c in range(classes):
                    weights[j, c, f] += likelihood[j, c, f] * otherwise[j, c] * apart


@compiled
def all_hold(
    first: int, last: int, starts: Whole, restorations: Floats, pace_weights: Floats, way_weights: Floats,
    seen: Floats, closed: Floats, lost: Floats, m: int, only: int, given: int,
) -> float:  # fmt: skip
    """Expected product over joints of restorations ``first`` to ``last`` of one object of 1 - lost * (it gives).

    ``lost`` [j] 1 asks whether a joint holds, 0 passes it over. With restoration ``only`` >= 0, that one is taken to
    hold by class ``given``.
    """
    classes, paces = seen.shape[1], seen.shape[2]
    expected = 0.0
    for h in range(way_weights.size):
        product = way_weights[h]
        for r in range(first, last):
            held, all_of_it = 0.0, 0.0
            for z in range(classes):
                if r == only and z != given:
                    continue
                prior = 1.0 if r == only else restorations[r, z]
                for f in range(paces):
                    keeps = prior * pace_weights[f]
                    whole = keeps
                    for j in range(starts[r], starts[r + 1]):
                        sees = seen[j, z, f]
                        whole *= sees
                        if lost[j] > 0.0:
                            sees -= lost[j] * (sees - closed[j, z, f, m, h])
                        keeps *= sees
                    held += keeps
                    all_of_it += whole
            product *= held / all_of_it
        expected += product
    return expected


@compiled
def score_objects_together(
    first: Whole, starts: Whole, restorations: Floats, pace_weights: Floats, way_weights: Floats, seen: Floats,
    closed: Floats, depends_on: Whole, loss: Floats, lost: Floats,
    before: Floats, expected_loss: Floats, falls: Floats, without: Floats, given: Floats,
) -> None:  # fmt: skip
    """Objects [n], whose restorations start at ``first`` [n + 1]: chance that any joint gives, and its parts.

    Fills ``before`` [n, m], ``expected_loss`` [n, m], ``falls`` [j, m] (this joint or one that carries it),
    ``without`` [j, m] (any other joint), ``given`` [r, c] (any joint, last milestone, for each class of a restoration).
    ``lost`` [j] is room to work in.
    """
    milestones = before.shape[1]
    for n in range(first.size - 1):
        a, b = first[n], first[n + 1]
        low, high = starts[a], starts[b]
        for m in range(milestones):
            for j in range(low, high):
                lost[j] = loss[j]
            expected_loss[n, m] = 1.0 - all_hold(
                a, b, starts, restorations, pace_weights, way_weights, seen, closed, lost, m, -1, 0
            )
            for j in range(low, high):
                lost[j] = 1.0
            before[n, m] = 1.0 - all_hold(
                a, b, starts, restorations, pace_weights, way_weights, seen, closed, lost, m, -1, 0
            )
            for j in range(low, high):
                lost[j] = 0.0
                without[j, m] = 1.0 - all_hold(
                    a, b, starts, restorations, pace_weights, way_weights, seen, closed, lost, m, -1, 0
                )
                lost[j] = 1.0
        for r in range(a, b):
            for z in range(seen.shape[1]):
                given[r, z] = 1.0 - all_hold(
                    a, b, starts, restorations, pace_weights, way_weights, seen, closed, lost, milestones - 1, r, z
                )
        for j in range(low, high):
            if depends_on[j] >= 0:
                for i in range(low, high):
                    lost[i] = 0.0
                carrier = j
                while carrier >= 0:
                    lost[carrier] = 1.0
                    carrier = depends_on[carrier]
                for m in range(milestones):
                    falls[j, m] = 1.0 - all_hold(
                        a, b, starts, restorations, pace_weights, way_weights, seen, closed, lost, m, -1, 0
                    )
