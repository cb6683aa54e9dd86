"""What the scoring, the hours and the forecast assume now."""

from __future__ import annotations

from dataclasses import dataclass

from survey.risk.adhesives import ADHESIVES
from survey.risk.ageing import SITE_CLIMATES
from survey.risk.db.models import ParameterSet
from survey.risk.stages import PRIORS
from treatments.hours.db.selectors import Experience, experience
from treatments.options.db.models import LevelTable
from treatments.options.db.selectors import newest_table, table_in_use
from treatments.options.steps import StepTable
from treatments.planning.db.models import StaffMember


@dataclass(frozen=True)
class SettingsShown:
    """What the scoring, the hours and the forecast assume now, with who put it in force."""

    parameters: ParameterSet | None
    levels: LevelTable | None
    table: StepTable
    experience: Experience
    staff: int
    climates: list[tuple[str, str, float]]
    priors: list[tuple[str, float, str]]
    adhesives: list[tuple[str, float, float, str]]


def settings_shown() -> SettingsShown:
    """Everything that the settings page shows, in a fixed number of queries."""
    return SettingsShown(
        parameters=ParameterSet.objects.select_related("adopted_by").order_by("-number").first(),
        levels=newest_table(),
        table=table_in_use(),
        experience=experience(),
        staff=StaffMember.objects.count(),
        climates=[(site.name, site.grounds, round(site.rate(), 2)) for site in SITE_CLIMATES.values()],
        priors=[(prior.name, prior.mean_years, prior.grounds) for prior in PRIORS.values()],
        adhesives=[(kind.name, kind.speed, kind.strength_mpa, kind.grounds) for kind in ADHESIVES],
    )
