"""Everything that a fit to a department's own surveys says, from looks at joints taken for cellulose nitrate."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from survey.risk.fitting import (
    SPREADS,
    Bin,
    Floats,
    Frailty,
    Mistakes,
    Panel,
    Whole,
    calibration,
    double_looks,
    forward,
    frailty,
    held_out,
    moves_between_looks,
    moves_needed,
)
from survey.risk.learning import LearnedRates, learn_rates
from survey.risk.parameters import Parameters
from survey.risk.stages import (
    OPEN,
    STAGES,
    Misclassification,
    StagePrior,
    fit_interval_weibull,
    fit_panel,
    stage_mistakes,
    time_to_open,
)

LEAST_JOINTS, LEAST_MOVES, LEAST_PAIRS = 20, 5, 20  # below these a fit would only repeat the prior (expert default)
WIDEST_REACH = 3.0  # on the log scale: a life known no better than within a factor of twenty is not known
Tell = Callable[[str], None]


@dataclass(frozen=True)
class Looked:
    """What is fitted.

    Attributes
    ----------
    panel : Panel, of joints taken for cellulose nitrate
    workshop, restoration : int [j], -1 where not known
    fold : int [j], the part of the joints that each is held out with
    first, second : int [p], stages said by two people of one joint at one time, any adhesive
    entry, left, right : [k], equivalent years from making, of joints seen holding at their first look: that look, the
        last look that saw it holding, the first that saw it open (inf if none)
    """

    panel: Panel
    workshop: Whole
    restoration: Whole
    fold: Whole
    first: Whole
    second: Whole
    entry: Floats
    left: Floats
    right: Floats


@dataclass(frozen=True)
class OwnResult:
    """The result of a fit, as plain numbers for keeping, and the values that a parameter set would take from it."""

    result: dict[str, Any]
    proposed: dict[str, float]


def moves_seen(panel: Panel) -> int:
    """Looks that saw a worse stage than the look before at the same joint."""
    follows = panel.joint[1:] == panel.joint[:-1]
    return int(np.sum(follows & (panel.stage[1:] > panel.stage[:-1])))


def too_few(panel: Panel) -> bool:
    """Whether there is too little to fit."""
    return panel.seen_again < LEAST_JOINTS or moves_seen(panel) < LEAST_MOVES


def joints_needed(prior: StagePrior, gap: float = 5.0) -> list[int]:
    """Joints in each stage 0 to 3 to be looked at twice, ``gap`` equivalent years apart, to know its rate within half
    as much again, if the prior is right."""
    return [int(np.ceil(moves_needed() / -np.expm1(-rate * gap))) for rate in prior.rates]


def fit_looks(looked: Looked, parameters: Parameters, tell: Tell) -> OwnResult:
    """Fit the looks, weigh the fit against them, and say what would be proposed. Raises ValueError if too few."""
    if too_few(looked.panel):
        raise ValueError("panel holds too few joints looked at again to fit anything")
    assumed = parameters.assumptions
    prior = assumed.priors[assumed.middle]
    tell("Weighing double looks")
    mistakes = double_looks(looked.first, looked.second) if looked.first.size >= LEAST_PAIRS else None
    error = stage_mistakes(mistakes.share) if mistakes else np.asarray(assumed.misclassification, dtype=np.float64)
    tell("Fitting by maximum likelihood")
    alone = _alone(looked.panel, error)
    tell("Fitting with the published lives held against it")
    learned = _learned(looked.panel, prior, parameters.pseudo_years, error)
    told = forward(looked.panel, learned.rates, error, learned.first)
    moves = moves_between_looks(told, looked.panel)
    tell("Comparing workshops")
    shops = frailty(looked.panel, learned.rates, error, learned.first, looked.workshop)
    restorations = frailty(looked.panel, learned.rates, error, learned.first, looked.restoration)
    tell("Foretelling what was held out")
    bins = _held_out(looked, prior, parameters.pseudo_years, error)
    tell("Checking against lives from making to opening")
    result = {
        "rates": _rates(prior, alone, learned, moves.observed),
        "life": list(learned.life()),
        "prior_life": prior.mean_years,
        "converged": learned.converged,
        "mistakes": _mistakes(mistakes),
        "observed": moves.observed.tolist(),
        "expected": moves.expected.round(3).tolist(),
        "calibration": [each.__dict__ for each in bins],
        "workshops": [
            [float(shops.pace[g]), float(shops.low[g]), float(shops.high[g]), int(shops.joints[g])]
            for g in range(shops.pace.size)
        ],
        "spread": {
            "workshops": [shops.spread, shops.spread_low, shops.spread_high],
            "restorations": [restorations.spread, restorations.spread_low, restorations.spread_high],
        },
        "weibull": _weibull(looked, learned.rates),
    }
    return OwnResult(result, _proposed(learned, mistakes, restorations))


def _alone(panel: Panel, error: Floats) -> dict[str, list[float | None]]:
    """Mean stays by maximum likelihood alone with 95 % intervals; None where the looks do not hold one."""
    fit = fit_panel(
        panel.joint, panel.time, panel.stage, allowed=np.eye(len(STAGES), k=1), exact=panel.exact,
        at_least=panel.at_least, misclassification=Misclassification(error),
    )  # fmt: skip
    found: dict[str, list[float | None]] = {"stay": [], "low": [], "high": []}
    for stage in range(OPEN):
        low, high = fit.rate_interval((stage, stage + 1))
        held = bool(np.isfinite(low) and np.isfinite(high) and low > 0)
        values = (1 / fit.rates[stage, stage + 1], 1 / high, 1 / low) if held else (None, None, None)
        for name, value in zip(found, values, strict=True):
            found[name].append(None if value is None else float(value))
    return found


def _learned(panel: Panel, prior: StagePrior, years: float, error: Floats) -> LearnedRates:
    return learn_rates(
        panel.joint, panel.time, panel.stage, prior=prior, pseudo_years=years, exact_open=panel.exact,
        at_least=panel.at_least, misclassification=error,
    )  # fmt: skip


def _rates(
    prior: StagePrior, alone: dict[str, list[float | None]], learned: LearnedRates, observed: Whole
) -> list[dict[str, Any]]:
    """One line for each stage that can be left."""
    reach = 1.96 * learned.deviation
    return [
        {
            "stage": stage,
            "prior": float(1 / prior.rates[stage]),
            "alone": [alone[name][stage] for name in ("stay", "low", "high")],
            "stay": float(1 / learned.rates[stage]),
            "low": float(np.exp(-reach[stage]) / learned.rates[stage]),
            "high": float(np.exp(reach[stage]) / learned.rates[stage]),
            "error": float(learned.deviation[stage]),
            "prior_share": float(learned.prior_share[stage]),
            "moves": int(observed[stage, stage + 1 :].sum()),
            "needed": moves_needed(),
        }
        for stage in range(OPEN)
    ]


def _mistakes(found: Mistakes | None) -> dict[str, Any] | None:
    return None if found is None else dict(found.__dict__)


def _held_out(looked: Looked, prior: StagePrior, years: float, error: Floats) -> list[Bin]:
    def fit(some: Panel) -> tuple[Floats, Floats]:
        learned = _learned(some, prior, years, error)
        return learned.rates, learned.first

    chance, happened = held_out(looked.panel, looked.fold, fit, error)
    return calibration(chance, happened)


def _weibull(looked: Looked, rates: Floats) -> dict[str, Any]:
    """Median life by age alone, an interval-censored Weibull curve, against that of the chain; or none.

    A joint is watched from its first look: those that opened before it were mended, and nobody counts them.
    """
    found = {
        "chain": float(time_to_open(rates, 0.5)),
        "opened": int(np.isfinite(looked.right).sum()),
        "joints": int(looked.left.size),
    }
    if not found["opened"]:
        return found
    try:
        fit = fit_interval_weibull(looked.left, looked.right, entry=looked.entry)
    except ValueError:
        return found
    slope = np.array([1.0, -np.log(np.log(2.0)) / fit.shape])
    middle = float(fit.scale * np.log(2.0) ** (1.0 / fit.shape))
    reach = float(1.96 * np.sqrt(slope @ fit.covariance @ slope))
    if not reach < WIDEST_REACH:
        return found
    ends = middle * float(np.exp(-reach)), middle * float(np.exp(reach))
    return {**found, "median": middle, "low": ends[0], "high": ends[1], "shape": fit.shape}


def _proposed(learned: LearnedRates, mistakes: Mistakes | None, restorations: Frailty) -> dict[str, float]:
    """Values of a parameter set; none where the curvature is not that of a peak.

    The visits are in the beliefs then: counting them once more in each scoring would make the answer look surer than it
    is, so their trust is set to nothing until the next fit. A spread that the looks do not bound both ways stays as it
    is.
    """
    low, middle, high = learned.life()
    if not np.isfinite(high - low):
        return {}
    stays = {f"stays.{STAGES[stage].replace(' ', '_')}": float(1 / learned.rates[stage]) for stage in range(OPEN)}
    found = {
        **stays,
        "beliefs.pessimistic.mean_years": low,
        "beliefs.middle.mean_years": middle,
        "beliefs.optimistic.mean_years": high,
        "visits_trust": 0.0,
    }
    if restorations.spread_low > 0 and restorations.spread_high < SPREADS[-1]:
        found["sharing.frailty"] = restorations.spread
    if mistakes:
        found["mistaken_stage"] = mistakes.share
    return {path: float(f"{value:.4g}") for path, value in found.items()}
