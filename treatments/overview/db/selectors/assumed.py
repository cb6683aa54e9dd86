"""What the scoring, the hours and the forecast assume now."""

from __future__ import annotations

from dataclasses import dataclass

from survey.risk.ageing import SITE_CLIMATES
from survey.risk.db.models import LoggerFile, LoggerFileState, ParameterSet
from survey.risk.db.selectors.parameters import differences, in_force
from survey.risk.parameters import read
from treatments.hours.db.selectors import Experience, experience
from treatments.options.db.models import LevelTable
from treatments.options.db.selectors import newest_table, table_in_use
from treatments.options.steps import StepTable
from treatments.planning.db.models import StaffMember


@dataclass(frozen=True)
class SettingsShown:
    """What the scoring, the hours and the forecast assume now, with who put it in force."""

    parameters: ParameterSet | None
    changed: int
    loggers: int
    levels: LevelTable | None
    table: StepTable
    experience: Experience
    staff: int
    climates: list[tuple[str, str, float]]
    priors: list[tuple[str, float, str]]
    adhesives: list[tuple[str, float, float, str]]


def settings_shown() -> SettingsShown:
    """Everything that the settings page shows, in a fixed number of queries."""
    now = in_force()
    held = now.values if now else {}
    chosen = read(held)
    energy, exponent = chosen.activation_energy.usual, chosen.humidity_exponent.usual
    return SettingsShown(
        parameters=now,
        changed=len(differences({}, held)),
        loggers=LoggerFile.objects.filter(state=LoggerFileState.COUNTED).count(),
        levels=newest_table(),
        table=table_in_use(),
        experience=experience(),
        staff=StaffMember.objects.count(),
        climates=[
            (site.name, site.grounds, round(site.rate(activation_energy=energy, humidity_exponent=exponent), 2))
            for site in SITE_CLIMATES.values()
        ],
        priors=[(belief.name, belief.mean_years, belief.grounds) for belief in chosen.assumptions.priors],
        adhesives=[(kind.name, kind.speed, kind.strength_mpa, kind.grounds) for kind in chosen.assumptions.adhesives],
    )
