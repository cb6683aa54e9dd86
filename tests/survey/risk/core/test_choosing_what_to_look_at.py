"""Which look or test is worth its minutes."""

import numpy as np
import pytest

from survey.risk.bonds import Bonds
from survey.risk.identification import CLASS_INDEX, CLASSES, NITRATE
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.look_next import (
    ACT_FROM,
    LOOK_MINUTES_JOINT,
    if_seen,
    next_steps,
    only_middle,
    worth_of_looks,
    worth_of_tests,
)
from survey.risk.stages import with_slips
from survey.risk.together import score_together
from survey.risk.workshops import Sharing
from tests.survey.risk.core.joints import a_load, some_joints


def objects(stages: list[int], **arrays) -> tuple[JointInputs, Bonds]:
    """One light joint each, about 40 years old, whose adhesive is in doubt between a slow and a fast one."""
    count = len(stages)
    shares = np.zeros((count, len(CLASSES)))
    shares[:, NITRATE] = shares[:, CLASS_INDEX["acrylic"]] = 0.5
    inputs = some_joints(
        count, object_count=count, object_index=np.arange(count), class_probabilities=shares,
        visit_stages=np.array(stages)[:, None], load=a_load(count, mass_kg=0.012), **arrays,
    )  # fmt: skip
    tied = Bonds(np.arange(count), shares, np.full(shares.shape, 0.9), shares, np.full(count, -1), Sharing())
    return inputs, tied


def test_only_what_nobody_has_seen_is_worth_a_look():
    inputs, tied = objects([-1, 1, -1])
    looks = worth_of_looks(inputs, tied, stake=np.array([1.0, 1.0, 3.0]))
    assert looks.changes[1] == looks.worth[1] == looks.failing[1] == 0
    assert looks.changes[0] > 0
    assert looks.worth[2] == pytest.approx(3 * looks.worth[0])
    assert looks.minutes[0] == looks.minutes[1] + LOOK_MINUTES_JOINT


def test_a_look_that_cannot_change_the_choice_is_worth_nothing():
    """A joint just made: no stage that a look could find is at all likely but sound."""
    inputs, tied = objects([-1], age_now=np.zeros(1))
    assert worth_of_looks(inputs, tied, stake=np.ones(1)).worth[0] == pytest.approx(0, abs=5e-3)
    idle, tied = objects([-1])
    assert worth_of_looks(idle, tied, stake=np.zeros(1)).worth[0] == 0


def test_the_worth_of_a_look_against_the_sum_over_stages():
    """One joint that nobody has seen, so left as it is: each stage with its chance, and what would then be done."""
    inputs, tied = objects([-1])
    chosen = only_middle(Assumptions())
    seen = score_together(inputs, tied, chosen).joints.stage_now[0, 0] @ with_slips(Assumptions().misclassification)
    after = []
    for stage in range(5):
        looked = inputs.changed(visit_stages=np.array([[-1, stage]]), visit_ago=np.zeros((1, 2)))
        after.append(score_together(looked, Bonds.none(inputs), chosen).joints.before[0, 0, -1])
    acts = (np.array(after) >= ACT_FROM) | (np.arange(5) >= 3)  # a failing joint bars the object from being lifted
    gain = np.where(np.arange(5) >= 3, after, np.maximum(np.array(after) - ACT_FROM, 0))
    looks = worth_of_looks(inputs, tied, stake=np.ones(1))
    assert looks.changes[0] == pytest.approx(seen[acts].sum(), rel=1e-9)
    assert looks.worth[0] == pytest.approx((seen * gain).sum(), rel=1e-9)


def again(stage: int, years: float, **more):
    """A joint seen in a stage some calendar years ago, at the pace of today's place."""
    inputs, tied = objects([stage], visit_ago=np.array([[years]]), rate_per_year=np.ones(1))
    return worth_of_looks(inputs, tied, stake=np.ones(1), again_after=1.0, **more), inputs, tied


def test_what_was_not_looked_at_for_long_is_worth_another_look():
    soon, later, open_already = (again(*seen)[0] for seen in ((2, 0.5), (2, 9.0), (4, 9.0)))
    assert soon.worth[0] == soon.again[0] == open_already.again[0] == 0
    assert later.worth[0] > 0 and later.again[0] == 1 and later.unseen[0] == 0 and later.years[0] == 9
    assert again(1, 3.0)[0].worth[0] < again(1, 15.0)[0].worth[0]  # the longer ago, the more may have changed
    assert next_steps(later, {}, ["foot"])[0].text.startswith("1 joint was last looked at 9 years ago. In ")


def test_a_look_may_find_that_nothing_need_be_done():
    """Dealt with so far: the worth is what is spared where it is not needed, each stage with its chance."""
    bar = 0.01  # any joint is dealt with, by its chance
    looks, inputs, tied = again(1, 9.0, act_from=bar)
    chosen = only_middle(Assumptions())
    scores = score_together(inputs, tied, chosen).joints
    assert scores.before[0, 0, -1] >= bar
    seen = scores.stage_now[0, 0] @ with_slips(Assumptions().misclassification)
    after = if_seen(inputs, chosen)[0]
    idle = (after < bar) & (np.arange(5) < 3)
    assert idle.any()
    assert looks.worth[0] == pytest.approx((seen * np.where(idle, bar - after, 0)).sum(), rel=1e-9)
    assert looks.changes[0] == pytest.approx(seen[idle].sum(), rel=1e-9)


def test_joints_of_an_object_add_their_worth():
    inputs, tied = objects([-1, -1])
    both = inputs.changed(object_count=1, object_index=np.zeros(2, np.int64))
    apart, together = (worth_of_looks(made, tied, stake=np.ones(2)) for made in (inputs, both))
    assert together.worth[0] == pytest.approx(apart.worth.sum())
    assert together.changes[0] == pytest.approx(1 - (1 - apart.changes).prod())
    assert together.failing[0] == pytest.approx(apart.failing.sum())


def a_test(inputs: JointInputs, tied: Bonds, kind: str, workshop: list[int], act_from: float = ACT_FROM):
    scores = score_together(inputs, tied, only_middle(Assumptions()))
    return worth_of_tests(
        inputs, tied, np.array(workshop), kind, table=DEFAULT_TABLE, stake=np.ones(inputs.object_count),
        tested=np.zeros(inputs.object_index.size, bool), scores=scores, act_from=act_from,
    )  # fmt: skip


def between(inputs: JointInputs, tied: Bonds) -> float:
    """A bar between what the object comes to with its slow and with its fast adhesive."""
    given = score_together(inputs, tied, only_middle(Assumptions())).given_class[0, 0]
    return float((given[NITRATE] + given[CLASS_INDEX["acrylic"]]) / 2)


def test_a_test_is_worth_making_where_the_adhesive_decides():
    inputs, tied = objects([-1])
    bar = between(inputs, tied)
    spot, protein = (a_test(inputs, tied, kind, [-1], bar) for kind in ("nitrate_test", "protein_test"))
    assert spot.changes[0] > 0.3
    assert spot.worth[0] > 0.01
    assert protein.worth[0] == pytest.approx(0, abs=1e-12)  # protein tells neither of the two
    assert a_test(inputs, tied, "nitrate_test", [-1], 0.9999).worth[0] == 0


def test_a_test_counts_for_the_other_work_of_its_workshop():
    inputs, tied = objects([-1, -1, -1])
    alone = a_test(inputs, tied, "nitrate_test", [-1, -1, -1], between(inputs, tied))
    shared = a_test(inputs, tied, "nitrate_test", [0, 0, -1], between(inputs, tied))
    assert shared.others.tolist() == [1, 1, 0]
    assert np.all(shared.worth[:2] > alone.worth[:2])
    assert shared.worth[2] == pytest.approx(alone.worth[2])


def test_steps_are_ranked_by_worth_for_each_minute_and_say_why():
    inputs, tied = objects([-1, 1, -1])
    looks = worth_of_looks(inputs, tied, stake=np.array([1.0, 1.0, 9.0]))
    tests = {"nitrate_test": a_test(inputs, tied, "nitrate_test", [0, 0, -1], between(inputs, tied))}
    steps = next_steps(looks, tests, ["foot", "rim", "neck"])
    assert [step.rate for step in steps] == sorted((step.rate for step in steps), reverse=True)
    assert {step.kind for step in steps} == {"look", "nitrate_test"}
    look = next(step for step in steps if step.kind == "look")
    assert (look.row, look.minutes) == (2, 8.0)
    assert look.text.startswith("1 joint has not been looked at. In about ")
    spot = next(step for step in steps if step.kind == "nitrate_test")
    assert "a sample, taken only by someone who may" in spot.text
    assert len(next_steps(looks, tests, ["foot", "rim", "neck"], most=1)) == 1


def test_nothing_left_to_look_at_gives_no_steps():
    inputs, tied = objects([1, 1])
    assert next_steps(worth_of_looks(inputs, tied, stake=np.ones(2)), {}, ["foot", "rim"]) == []


@pytest.mark.parametrize(
    ("change", "name"),
    [({"stake": np.array([-1.0])}, "stake"), ({"stake": np.ones(2)}, "stake"), ({"act_from": 1.0}, "act_from")],
)
def test_what_cannot_be_weighed_is_refused_by_name(change, name):
    inputs, tied = objects([-1])
    with pytest.raises(ValueError, match=name):
        worth_of_looks(inputs, tied, **{"stake": np.ones(1), **change})


def test_a_test_nobody_knows_is_refused_by_name():
    inputs, tied = objects([-1])
    with pytest.raises(ValueError, match="kind"):
        a_test(inputs, tied, "smell", [-1])
