"""Scores as a run would have written them, with only what a test is about written out."""

from __future__ import annotations

from datetime import date
from typing import Any

from survey.models import Joint, JointRisk, Object, ObjectRisk, ParameterSet, RiskRun
from tests import builders

MAGNITUDE = {"A": [3.0, 3.5, 4.0], "B": [3.0, 3.5, 4.0], "C": [1.5, 2.0, 2.5]}


def a_run(**fields: Any) -> RiskRun:
    parameters, _ = ParameterSet.objects.get_or_create(
        number=1, defaults={"name": "Shipped defaults", "adopted_at": builders.NOW}
    )
    values = {"parameters": parameters, "as_of": date(2026, 3, 2), "began_at": builders.NOW} | fields
    return RiskRun.objects.create(**{"finished_at": builders.NOW, "counts": {"objects": 0, "joints": 0}} | values)


def a_score(run: RiskRun, thing: Object | None = None, *, chance: float = 0.3, **fields: Any) -> ObjectRisk:
    """The score of an object. ``loss`` and ``weighted_loss`` follow the chance unless said."""
    band = fields.get("band", "before_move")
    values = {
        "object": thing or builders.an_object(),
        "band": band,
        "band_order": 0 if band == "do_not_lift" else 1,
        "before_opening": chance,
        "before_opening_low": chance / 2,
        "before_opening_high": (1 + chance) / 2,
        "before_milestones": {"photography": chance / 3, "opening": chance},
        "yearly": 0.01,
        "loss": chance / 10,
        "weighted_loss": chance / 10,
        "magnitude": MAGNITUDE,
        "worst_stage": 2,
        "joints": 1,
        "reasons": [
            {"code": "before-mount-or-travel", "text": "Treat or secure it before it travels: the film is peeling."},
            {"code": "rejoined", "text": "Taken down and joined again, it becomes about 1 in 100."},
            {"code": "independence", "text": "Joints are taken as failing independently."},
        ],
    } | fields
    return ObjectRisk.objects.create(run=run, **values)


def a_joint_score(run: RiskRun, joint: Joint, **fields: Any) -> JointRisk:
    values = {
        "before_opening": 0.2,
        "stage": 1,
        "stage_chances": [0.25, 0.5, 0.25, 0.0, 0.0],
        "class_chances": {"cellulose_nitrate": 0.8, "animal_glue": 0.2},
        "move_share": 0.5,
    } | fields
    return JointRisk.objects.create(run=run, joint=joint, object=joint.restoration.object, **values)
