"""What to look at next: which look or test is worth its minutes, because it may change what is done before opening.

For each joint and object there is a choice, made by its chance to fail: leave it as it is, or deal with it (secure,
treat, keep from moving) from a chance ``act_from`` upward. A look or a test is worth something only where its outcome
may change that choice. Its worth is the expected value of that information: for each outcome that changes the choice,
how far the chance then lies beyond ``act_from``, times what is at stake (H. Raiffa and R. Schlaifer, Applied
Statistical Decision Theory (1961), chapter 4, from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.risk.bonds import Bonds, Floats, Whole
from survey.risk.identification import LikelihoodTable
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.reasons import in_words
from survey.risk.stages import OPEN, with_slips
from survey.risk.together import Together, score_together

LOOK_MINUTES_OBJECT, LOOK_MINUTES_JOINT = 6.0, 2.0  # to take an object down and up again, and for each joint (expert)
TEST_MINUTES = {"uv": 5.0, "solvent": 10.0, "nitrate_test": 20.0, "protein_test": 20.0, "ftir": 45.0}  # expert defaults
TEST_WORDS = {
    "uv": "Ultraviolet light",
    "solvent": "A solvent swab",
    "nitrate_test": "A spot test for nitrate",
    "protein_test": "A spot test for protein",
    "ftir": "An infrared spectrum",
}
TESTS_WITH_SAMPLE = frozenset({"nitrate_test", "protein_test", "ftir"})
TOUCHING = TESTS_WITH_SAMPLE | {
    "solvent"
}  # not where a residue may be evidence, nor without the agreement that applies
PAIRS = 4_000_000  # of restorations of one workshop weighed against each other at once: a few dozen megabytes
ACT_FROM = 0.2  # chance of failing before the milestone from which an object is dealt with (expert default)


@dataclass(frozen=True)
class Step:
    """One look or test that could be made.

    ``kind`` is ``look`` or a kind of test; ``row`` the object for a look, the joint for a test; ``changes`` the
    chance that it changes a choice; ``worth`` the expected gain in units of the stake; ``minutes``; ``others`` how many
    further objects' choices it may change; ``text`` says why.
    """

    kind: str
    row: int
    changes: float
    worth: float
    minutes: float
    others: int
    text: str

    @property
    def rate(self) -> float:
        """Worth for each minute, by which steps are ranked."""
        return self.worth / self.minutes


@dataclass(frozen=True)
class Looks:
    """Of looking at each object [n]: chance to change what is done with any of its joints, worth, minutes, expected
    number of joints failing or open today that nobody knows to be, how many joints nobody has seen, how many to look at
    ``again``, and for how many calendar ``years`` the longest of these was not looked at."""

    changes: Floats
    worth: Floats
    minutes: Floats
    failing: Floats
    unseen: Whole
    again: Whole
    years: Floats


def worth_of_looks(
    inputs: JointInputs,
    bonds: Bonds,
    *,
    stake: Floats,
    assumptions: Assumptions | None = None,
    act_from: float = ACT_FROM,
    again_after: float = np.inf,
) -> Looks:
    """What a look would be worth at the joints of each object that nobody has seen, or not for long; 0 without any.

    Parameters
    ----------
    inputs : JointInputs [j]; bonds : Bonds
    stake : [j], >= 0, what is lost if a joint lets go: share of value times significance times importance
    assumptions : Assumptions, optional; the middle belief alone is used
    act_from : float, more than 0 and less than 1
    again_after : calendar years since the last look from which a joint that was not open then is looked at again

    Notes
    -----
    A joint that nobody has seen is left as it is, whatever its chance: nobody treats what nobody has seen. One that was
    seen is dealt with by its chance today, or because it was failing. A look changes that where it finds a stage from
    which the joint is then likelier than ``act_from`` to let go, or a failing joint, which bars the object from being
    lifted; or where it finds that neither holds any more. Stages are summed over, with how often surveyors mistake one;
    worth adds up over joints, since each is dealt with by itself.
    """
    chosen = only_middle(assumptions or Assumptions())
    _check(inputs, bonds, act_from)
    _check_stake(stake, inputs.object_index.size)
    base, last, since = score_together(inputs, bonds, chosen).joints, inputs.last_seen, _years_since(inputs)
    rows = np.flatnonzero((last < 0) | ((last < OPEN) & (since >= again_after)))
    owner, unseen = inputs.object_index[rows], last[rows] < 0
    outcomes = base.stage_now[0, rows] @ with_slips(np.asarray(chosen.misclassification, dtype=np.float64))
    chance = if_seen(inputs.only(rows), chosen)
    acts, gain = gained(chance, act_from)
    acting = (~unseen & ((base.before[0, rows, -1] >= act_from) | (last[rows] >= OPEN - 1)))[:, None]
    changes = (outcomes * (acts != acting)).sum(axis=1)
    gain = np.where(acting, np.where(acts, 0.0, act_from - chance), gain)

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(owner, values, minlength=inputs.object_count), dtype=np.float64)

    any_change = -np.expm1(total(np.log1p(-np.minimum(changes, 1.0 - 1e-12))))
    fails = base.stage_now[0, rows][:, OPEN - 1 :].sum(axis=1) * (last[rows] < OPEN - 1)
    count = np.bincount(owner, minlength=inputs.object_count).astype(np.float64)
    years = np.zeros(inputs.object_count)
    np.maximum.at(years, owner, np.where(unseen, 0.0, since[rows]))
    return Looks(
        changes=any_change,
        worth=total((outcomes * gain).sum(axis=1) * stake[rows]),
        minutes=LOOK_MINUTES_OBJECT + LOOK_MINUTES_JOINT * count,
        failing=total(fails),
        unseen=np.bincount(owner[unseen], minlength=inputs.object_count),
        again=np.bincount(owner[~unseen], minlength=inputs.object_count),
        years=years,
    )


def _years_since(inputs: JointInputs) -> Floats:
    """Calendar years [j] since the last look that said a stage; infinite where there was none."""
    ago = np.where((inputs.visit_stages >= 0) & np.isfinite(inputs.visit_ago), inputs.visit_ago, np.inf)
    return np.asarray(ago.min(axis=1, initial=np.inf) / np.maximum(inputs.rate_per_year, 1e-9))


def gained(chance: Floats, act_from: float) -> tuple[NDArray[np.bool_], Floats]:
    """Whether a joint found in each stage [j, s] is dealt with, and what that gains of its stake.

    Dealing with it costs hours, worth a chance of ``act_from``. Keeping hands off a failing joint costs none: there the
    whole chance is gained.
    """
    failing = np.arange(OPEN + 1) >= OPEN - 1
    gain = np.where(failing, chance, np.maximum(chance - act_from, 0.0))
    return failing | (chance >= act_from), np.asarray(gain, dtype=np.float64)


def if_seen(inputs: JointInputs, assumptions: Assumptions) -> Floats:
    """Chance [j, s] of each joint before the last milestone if a look today finds it in stage s."""
    joints, alone = inputs.object_index.size, Bonds.none(inputs)
    ago = np.hstack([inputs.visit_ago, np.zeros((joints, 1))])
    found = np.empty((joints, OPEN + 1))
    for stage in range(OPEN + 1):
        seen = np.hstack([inputs.visit_stages, np.full((joints, 1), stage)])
        looked = inputs.changed(visit_stages=seen, visit_ago=ago)
        found[:, stage] = score_together(looked, alone, assumptions).joints.before[0, :, -1]
    return found


@dataclass(frozen=True)
class Tests:
    """Of one kind of test on each restoration [r]: chance to change its own object's choice, worth with all other
    objects it speaks for, how many of those it may change, and the joint [r] to take it from (-1 none)."""

    changes: Floats
    worth: Floats
    others: Whole
    joint: Whole


def worth_of_tests(
    inputs: JointInputs,
    bonds: Bonds,
    workshop: Whole,
    kind: str,
    *,
    table: LikelihoodTable,
    stake: Floats,
    tested: NDArray[np.bool_],
    scores: Together,
    prior: int = 0,
    act_from: float = ACT_FROM,
) -> Tests:
    """What a test of ``kind`` on one joint of each restoration would be worth.

    Parameters
    ----------
    inputs, bonds : as for ``score_together``, which made ``scores``
    workshop : int [r], workshop and period of each restoration, -1 where not known
    kind : str, a kind of evidence of ``table``
    stake : [n], >= 0, what is lost if the object fails
    tested : bool [j], joints that have had this test
    prior : int, the belief of ``scores`` to choose by

    Notes
    -----
    A test moves the restoration's adhesive; through the workshop's habit it moves other objects too, whose change of
    choice is counted. What the one joint holds apart from its restoration is left aside.
    """
    if kind not in table.kinds:
        raise ValueError(f"kind must be one of {', '.join(table.kinds)}, not {kind!r}")
    _check(inputs, bonds, act_from)
    _check_stake(stake, inputs.object_count)
    groups = bonds.restorations.shape[0]
    owner, joint = np.zeros(groups, dtype=np.int64), np.full(groups, -1, dtype=np.int64)
    owner[bonds.restoration] = inputs.object_index
    free = np.flatnonzero(~tested)
    free = free[np.argsort(scores.joints.before[prior, free, -1], kind="stable")]
    joint[bonds.restoration[free]] = free  # of those not tested the one most likely to fail, written last
    told = _told(bonds, np.maximum(joint, 0), table.kinds[kind].chances)
    of, given, before = scores.restorations[prior], scores.given_class[prior], scores.objects.before[prior, :, -1]
    chance = np.einsum("rc,rco->ro", of, told)
    then = np.einsum("rc,rco,rc->ro", of, told, given) / chance
    changed = ((then >= act_from) != (before[owner] >= act_from)[:, None]) & (joint >= 0)[:, None]
    changes = (chance * changed).sum(axis=1)
    worth = (chance * changed * np.abs(then - act_from)).sum(axis=1) * stake[owner]
    others = np.zeros(groups, dtype=np.int64)
    for habit in np.unique(workshop[workshop >= 0]):
        all_of_it = np.flatnonzero(workshop == habit)
        tested_of_it = all_of_it[joint[all_of_it] >= 0]
        for mine in np.array_split(tested_of_it, max(1, tested_of_it.size * all_of_it.size // PAIRS)):
            gain, count = _for_others(mine, all_of_it, scores, told, owner, stake, prior, act_from, bonds)
            worth[mine] += gain
            others[mine] = count
    return Tests(changes, worth, others, joint)


def _told(bonds: Bonds, joint: Whole, chances: Floats) -> Floats:
    """Chance [r, c, o] of each outcome on a joint, for each class that its restoration may hold by."""
    follows, otherwise = bonds.follows[joint], bonds.otherwise[joint]
    return follows[:, :, None] * chances.T + (1.0 - follows)[:, :, None] * (otherwise @ chances.T)[:, None, :]


def _for_others(
    tested: Whole, moved: Whole, scores: Together, told: Floats, owner: Whole, stake: Floats, prior: int,
    act_from: float, bonds: Bonds,
) -> tuple[Floats, Whole]:  # fmt: skip
    """Worth [k] of a test on each of ``tested`` for the other objects of its workshop, and how many it may change.

    What a test says of one restoration reaches another through the habit both follow: by the square of that share.
    """
    of, given = scores.restorations[prior], scores.given_class[prior][moved]
    before = scores.objects.before[prior, owner[moved], -1]
    elsewhere = owner[tested][:, None] != owner[moved][None, :]
    gain, count = np.zeros(tested.size), np.zeros(tested.size, dtype=np.int64)
    for outcome in range(told.shape[2]):
        weight = of[tested] * told[tested, :, outcome]
        chance = weight.sum(axis=1, keepdims=True)
        reaches = bonds.sharing.within_workshop**2 * (weight / chance - of[tested])
        then = np.clip(before + reaches @ given.T, 0.0, 1.0)
        changed = ((then >= act_from) != (before >= act_from)) & elsewhere
        gain += (chance * changed * np.abs(then - act_from) * stake[owner[moved]]).sum(axis=1)
        count = np.maximum(count, changed.sum(axis=1))
    return gain, count


def next_steps(looks: Looks, tests: Mapping[str, Tests], parts: Sequence[str], *, most: int = 50) -> list[Step]:
    """Looks and tests worth making, the most worth for each minute first, each with a sentence.

    ``parts`` [j] names where each joint is; at most ``most`` steps.
    """
    worth = {"look": looks.worth} | {kind: found.worth for kind, found in tests.items()}
    minutes = {"look": looks.minutes} | {kind: np.full(worth[kind].size, TEST_MINUTES[kind]) for kind in tests}
    steps = []
    for kind, values in worth.items():
        rates = values / minutes[kind]
        for row in np.argsort(-rates, kind="stable")[:most]:
            if values[row] > 0:
                steps.append(_look(looks, int(row)) if kind == "look" else _test(tests[kind], kind, int(row), parts))
    return sorted(steps, key=lambda step: (-step.rate, step.kind, step.row))[:most]


def _look(looks: Looks, row: int) -> Step:
    text, found = words_of_look(looks, row), (float(looks.changes[row]), float(looks.worth[row]))
    return Step("look", row, *found, float(looks.minutes[row]), 0, text)


def words_of_look(looks: Looks, row: int) -> str:
    """Why a look at an object is worth its minutes."""
    count, again = int(looks.unseen[row]), int(looks.again[row])
    text = ""
    if count:
        text += "1 joint has not been looked at. " if count == 1 else f"{count} joints have not been looked at. "
    if again:
        years = max(1, int(looks.years[row] + 0.5))
        ago = "a year" if years == 1 else f"{years} years"
        text += (
            f"1 joint was last looked at {ago} ago. "
            if again == 1
            else f"{again} joints were last looked at up to {ago} ago. "
        )
    return text + _what_a_look_does(looks, row)


def words_unsurveyed(looks: Looks, row: int, *, room: str, looked: int, restored: float, missing: bool) -> str:
    """Why a look at an object that nobody has surveyed is worth its minutes.

    ``looked`` objects of its ``room`` (empty if not known) were looked at; a chance ``restored`` of old joints.
    """
    by = f"by {looked} looks in {room}" if looked and room else "by looks elsewhere: none in its room"
    text = f"Nobody has surveyed it. It has old joints in {in_words(restored)} cases, judged {by}."
    text += " It was not found when last looked for." if missing else ""
    return f"{text} {_what_a_look_does(looks, row)}"


def _what_a_look_does(looks: Looks, row: int) -> str:
    return (
        f"In {in_words(float(looks.changes[row]))} cases a look changes what should be done before opening; "
        f"it takes about {looks.minutes[row]:.0f} minutes."
    )


def _test(tests: Tests, kind: str, row: int, parts: Sequence[str]) -> Step:
    changes, worth = float(tests.changes[row]), float(tests.worth[row])
    text = words_of_test(tests, kind, row, parts)
    return Step(kind, int(tests.joint[row]), changes, worth, TEST_MINUTES[kind], int(tests.others[row]), text)


def words_of_test(tests: Tests, kind: str, row: int, parts: Sequence[str]) -> str:
    """Why a test on a joint of a restoration is worth its minutes; ``parts`` [j] names where each joint is."""
    others = int(tests.others[row])
    text = f"{TEST_WORDS[kind]} on the joint at the {parts[int(tests.joint[row])]}: "
    text += f"in {in_words(float(tests.changes[row]))} cases it changes what should be done with this object"
    if others:
        text += f", and it may for {others} more of the same workshop and period"
    text += f"; it takes about {TEST_MINUTES[kind]:.0f} minutes"
    return text + (" and a sample, taken only by someone who may." if kind in TESTS_WITH_SAMPLE else ".")


def only_middle(assumptions: Assumptions) -> Assumptions:
    """The same with the middle belief alone."""
    return replace(assumptions, priors=(assumptions.priors[assumptions.middle],))


def _check(inputs: JointInputs, bonds: Bonds, act_from: float) -> None:
    bonds.check(inputs)
    if not 0 < act_from < 1:
        raise ValueError("act_from must lie between 0 and 1")


def _check_stake(stake: Floats, count: int) -> None:
    if stake.shape != (count,) or np.any(~(stake >= 0)) or np.any(np.isinf(stake)):
        raise ValueError(f"stake must be {count} finite numbers, not negative")
