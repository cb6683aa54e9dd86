"""Rules that no score averages away."""

import numpy as np
import pytest

from survey.risk.reasons import BAND_WORDS, RULE_WORDS
from survey.risk.urgency import RULES, Band, JointSigns, ObjectUse, Urgency, urgency

NAN = np.nan


def judged(*, use: dict[str, float] | None = None, **signs: float) -> Urgency:
    """One object with one joint: seen sound, nothing else known, unless said otherwise."""
    joint = {name: np.array([NAN]) for name in JointSigns.__dataclass_fields__}
    joint |= {"object_index": np.array([0]), "stage": np.array([0])}
    joint |= {name: np.array([value]) for name, value in signs.items()}
    meant = {name: np.array([(use or {}).get(name, NAN)]) for name in ObjectUse.__dataclass_fields__}
    return urgency(JointSigns(**joint), ObjectUse(**meant))


@pytest.mark.parametrize(
    ("signs", "code"),
    [
        ({"stage": 4}, "joint-open"),
        ({"stage": 3}, "joint-moves"),
        ({"part_detached": 1.0}, "part-detached"),
        ({"moves_under_touch": 1.0}, "joint-moves"),
        ({"structural": 1.0, "lifted_share": 0.5}, "load-bearing-lifted"),
        ({"lifted_share": 0.5}, "lifted-load-unknown"),
        ({"flaking_or_salts": 1.0}, "flaking-or-salts"),
    ],
)
def test_what_must_not_be_lifted(signs, code):
    found = judged(**signs)
    assert found.must_not_be_lifted.tolist() == [True]
    assert Band(found.band[0]).code == "do-not-lift"
    assert (code, (0,)) in found.reasons(0)


@pytest.mark.parametrize(
    ("signs", "use", "code"),
    [
        ({"shrunken_or_peeling": 1.0}, {}, "film-peeling"),
        ({"stage": 2}, {}, "film-peeling"),
        ({"structural": 0.0, "lifted_share": 0.6}, {}, "film-peeling"),
        ({"structural": 1.0, "lifted_share": 0.49}, {}, "film-peeling"),
        ({"structural": 1.0, "brittle_or_yellowed": 1.0}, {}, "load-bearing-brittle"),
        ({}, {"travels": 1.0}, "travels"),
        ({}, {"hung_by_restored_part": 1.0}, "hung-by-restored-part"),
    ],
)
def test_what_waits_for_no_mount_or_journey(signs, use, code):
    found = judged(use=use, **signs)
    assert Band(found.band[0]) == Band.BEFORE_MOVE
    assert code in dict(found.reasons(0))


@pytest.mark.parametrize(
    ("signs", "use", "code"),
    [
        ({"stage": 1}, {}, "discoloured"),
        ({"brittle_or_yellowed": 1.0}, {}, "discoloured"),
        ({}, {"disfiguring_restoration": 1.0}, "disfiguring"),
        ({}, {"on_show": 1.0}, "on-show"),
    ],
)
def test_what_is_done_before_opening_if_hours_allow(signs, use, code):
    found = judged(use=use, **signs)
    assert Band(found.band[0]) == Band.BEFORE_OPENING
    assert code in dict(found.reasons(0))


def test_a_tight_joint_off_show_is_looked_at_again():
    assert judged().reasons(0) == [("tight", (0,))]
    assert Band(judged().band[0]).code == "monitor"


def test_not_seen_is_not_the_same_as_sound():
    assert Band(judged(stage=-1).band[0]).code == "not-seen"
    assert judged(stage=-1).reasons(0) == [("not-seen", (0,))]


@pytest.mark.parametrize("use", [{}, {"travels": 0.0, "on_show": 0.0, "disfiguring_restoration": 0.0}])
def test_no_use_lowers_what_must_not_be_lifted(use):
    assert judged(use=use, stage=4).must_not_be_lifted.all()


def test_one_open_joint_among_many_sound_ones_decides():
    joints = 40
    signs = {name: np.full(joints, NAN) for name in JointSigns.__dataclass_fields__}
    signs |= {"object_index": np.repeat([0, 1], 20), "stage": np.zeros(joints, dtype=int)}
    signs["stage"][7] = 4
    use = ObjectUse(**{name: np.zeros(3) for name in ObjectUse.__dataclass_fields__})
    found = urgency(JointSigns(**signs), use)
    assert found.must_not_be_lifted.tolist() == [True, False, False]
    assert found.reasons(0) == [("joint-open", (7,))]
    assert [Band(band).code for band in found.band] == ["do-not-lift", "monitor", "not-seen"]


@pytest.mark.parametrize("name", ["part_detached", "structural", "flaking_or_salts", "shrunken_or_peeling"])
def test_no_and_not_known_set_no_band(name):
    assert judged(use={}, **{name: 0.0}).band.tolist() == judged(use={}, **{name: NAN}).band.tolist() == [Band.MONITOR]


def test_every_rule_and_band_has_words():
    assert set(RULE_WORDS) == set(RULES)
    assert set(BAND_WORDS) == {band.code for band in Band}


@pytest.mark.parametrize(
    ("signs", "name"),
    [({"stage": 5}, "stage"), ({"lifted_share": 1.2}, "lifted_share"), ({"part_detached": 2.0}, "part_detached")],
)
def test_signs_that_cannot_be_are_refused_by_name(signs, name):
    with pytest.raises(ValueError, match=name):
        judged(**signs)
    with pytest.raises(ValueError, match="object_index"):
        judged(object_index=3)
