"""Every number that scoring assumes, one entry each: its name, unit, bounds and grounds, and how it is shipped.

Values of a set are kept flat, ``{"shocks.lift": 2.5}``, and hold only what differs from the shipped ones: a set can be
read, compared and edited entry by entry. ``parameters.read`` makes the typed whole of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from survey.risk.adhesives import ADHESIVES
from survey.risk.ageing import ACTIVATION_ENERGIES, HUMIDITY_EXPONENTS, SITE_CLIMATES
from survey.risk.draws import Doubt
from survey.risk.identification import CLASSES, DEFAULT_PRIOR, YEARS_OF_USE, EvidenceKind
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.load import MOVES, SHARED_SCATTER, STRENGTH_BY_STAGE, STRENGTH_SCATTER, ShockLevels
from survey.risk.stages import AGE_TRUST, MISCLASSIFICATION, OPEN, PRIORS, STAGES
from survey.risk.urgency import LIFTED_SHARE
from survey.risk.workshops import Sharing

Value = float | int | str | None
EXPERT = "Expert default"
LONGEST_TEXT = 1_000


@dataclass(frozen=True)
class Entry:
    """One assumed value.

    ``path`` names it for good; ``group`` is the table it stands in; ``name`` says it in words. A number lies between
    ``low`` and ``high`` and is shown times ``scale`` with ``unit``; ``whole`` is for counts, ``empty`` may be None.
    ``choices`` makes it a choice, ``text`` words. ``grounds`` say why the shipped value is what it is.
    """

    path: str
    group: str
    name: str
    shipped: Value
    low: float = 0.0
    high: float = np.inf
    unit: str = ""
    scale: float = 1.0
    whole: bool = False
    empty: bool = False
    text: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    grounds: str = EXPERT

    def shown(self, value: Value) -> str:
        """A value as a person reads and writes it, without its unit."""
        if value is None:
            return "none"
        if isinstance(value, str):
            return dict(self.choices).get(value, value)
        return f"{value * self.scale:.{4 if self.unit == '%' else 6}g}"

    def held(self, value: object) -> Value:
        """The value as kept in a set, or the shipped one where it no longer fits."""
        try:
            return self.taken(value)
        except ValueError:
            return self.shipped

    def taken(self, value: object) -> Value:
        """The value in its own type, or ValueError naming the entry and what it may be."""
        if value is None and self.empty:
            return None
        if self.choices or self.text:
            return self._words(value)
        if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
            raise ValueError(f"{self.path} must be a number")
        if not self.low <= value <= self.high:
            raise ValueError(f"{self.path} must lie between {self.low * self.scale:g} and {self.high * self.scale:g}")
        if self.whole and value != int(value):
            raise ValueError(f"{self.path} must be a whole number")
        return int(value) if self.whole else float(value)

    def _words(self, value: object) -> str:
        if not isinstance(value, str) or len(value) > LONGEST_TEXT:
            raise ValueError(f"{self.path} must be words, at most {LONGEST_TEXT} characters")
        if self.choices and value not in dict(self.choices):
            raise ValueError(f"{self.path} must be one of {', '.join(dict(self.choices))}")
        return value.strip()


@dataclass(frozen=True)
class Covariate:
    """What makes a joint pass through its stages faster (above 1) or slower than its adhesive alone says."""

    code: str
    name: str
    factor: float
    grounds: str


COVARIATES: tuple[Covariate, ...] = (
    Covariate("load_bearing", "Joint that carries weight or a projecting part", 1.25,
              f"{EXPERT}: stress that never rests; no effect is published. 1 leaves it out"),
    Covariate("porous_body", "Earthenware body", 1.1,
              f"{EXPERT}: a porous break draws adhesive in and starves the line; no effect is published"),
)  # fmt: skip

NAMING_KINDS: Mapping[str, str] = {
    "guess": "Surveyor's guess from date and hand",
    "record": "Written record that names the class",
    "ftir": "Infrared spectrum matched to a class",
}
LOOKING_KINDS: Mapping[str, str] = {
    "look": "Look",
    "uv": "Colour under long-wave ultraviolet",
    "solvent": "First solvent that a swab answers to",
    "nitrate_test": "Spot test for nitrate",
    "protein_test": "Spot test for protein",
}
FIRST = 20  # objects that a team can look at in the first days (expert default)
USUAL_PSEUDO_YEARS = 20.0
LIKELY = 1 / 3
TOLD_APART = 0.9


@cache
def entries() -> Mapping[str, Entry]:
    """All entries by path, in the order in which they are shown."""
    parts = (_climate(), _pace(), _classes(), _evidence(), _sharing(), _strength(), _covariates(), _bands())
    return {entry.path: entry for part in parts for entry in part}


def sure_of(kind: EvidenceKind) -> float:
    """Chance that a kind which names a class outright is right."""
    return float(kind.chances[0, 0])


def _climate() -> Iterator[Entry]:
    low, usual, high = ACTIVATION_ENERGIES
    energy = partial(Entry, group="climate", unit="kJ/mol", scale=0.001, low=40_000.0, high=200_000.0)
    usual_words = "Michalski 2002, ICOM-CC Rio preprints I:66-72 (constants from memory)"
    yield energy("activation_energy", name="Activation energy", shipped=usual, grounds=usual_words)
    yield energy("activation_energy_low", name="Activation energy, low end", shipped=low,
                grounds="Yellowing of varnish, same source (from memory)")  # fmt: skip
    yield energy("activation_energy_high", name="Activation energy, high end", shipped=high, grounds=(
                "Chu and others 2019, Polymer Testing 75:337-343: bulk material at 105-125 °C; not to be extrapolated "
                "as it stands, an upper bound"))  # fmt: skip
    low, usual, high = HUMIDITY_EXPONENTS
    power = partial(Entry, group="climate", high=3.0)
    unsettled = "Linear, power or exponential cannot be told apart: Knight 2014, e-Preservation Science 11:1-5"
    yield power("humidity_exponent", name="Exponent of humidity", shipped=usual, grounds=usual_words)
    yield power("humidity_exponent_low", name="Exponent of humidity, low end", shipped=low, grounds=unsettled)
    yield power("humidity_exponent_high", name="Exponent of humidity, high end", shipped=high, grounds=(
                "Papers at 30 to 60 %: Sebera, Isoperms (CLIR)"))  # fmt: skip
    names = tuple((site.code, site.name) for site in SITE_CLIMATES.values())
    yield Entry("default_climate", "climate", "Climate of a place where none is set or logged", "heated", choices=names,
                grounds=SITE_CLIMATES["heated"].grounds)  # fmt: skip


def _pace() -> Iterator[Entry]:
    for code, belief in PRIORS.items():
        yield Entry(f"beliefs.{code}.mean_years", "pace", f"Mean life, {code} belief", belief.mean_years, 0.5, 2000.0,
                    "equivalent years", grounds=belief.grounds)  # fmt: skip
    no_order = f"{EXPERT}: no order or length of stages is published"
    for stage, stay in zip(STAGES[:OPEN], PRIORS["middle"].stays, strict=True):
        yield Entry(f"stays.{stage.replace(' ', '_')}", "pace", f"Share of life spent {_STAY_WORDS[stage]}", stay,
                    0.01, 2000.0, "equivalent years", grounds=no_order)  # fmt: skip
    yield Entry("pseudo_years", "pace", "Weight of the belief against own visits", USUAL_PSEUDO_YEARS, 0.1, 10_000.0,
                "joint-years of watching")  # fmt: skip
    yield Entry("visits_trust", "pace", "How far own visits count", 1.0, 0.0, 1.0, "%", 100.0, grounds=(
                f"{EXPERT}: lower it where joints were visited because they looked bad"))  # fmt: skip
    yield Entry("age_trust", "pace", "Weight of age at the first look", AGE_TRUST, 0.0, 1.0, "%", 100.0, grounds=(
                f"{EXPERT}: published lives differ by a factor of ten, so age must not overrule a sign"))  # fmt: skip
    yield Entry("mistaken_stage", "pace", "Stage recorded one off, each way", float(MISCLASSIFICATION[0, 1]), 0.0, 0.45,
                "%", 100.0, grounds=f"{EXPERT}; your own double surveys say better")  # fmt: skip
    yield Entry("horizon_years", "pace", "Years over which the long-term rate is taken", 30.0, 1.0, 300.0, "years")


_STAY_WORDS = {
    "sound": "sound",
    "ageing": "ageing",
    "failing adhesive": "with failing adhesive",
    "failing joint": "with the joint failing",
}


def _classes() -> Iterator[Entry]:
    for kind in ADHESIVES:
        of, group = f"adhesives.{kind.code}", "adhesives"
        first, begins, ends, last = YEARS_OF_USE[kind.code]
        softens = None if np.isnan(kind.softens_c) else kind.softens_c
        share = float(DEFAULT_PRIOR[CLASSES.index(kind.code)])
        yield Entry(f"{of}.met", group, f"{kind.name}: how often met", share, 1e-4, 1.0, "%", 100.0, grounds=_MET)
        yield Entry(f"{of}.speed", group, f"{kind.name}: speed of failing", kind.speed, 0.001, 100.0,
                    "× cellulose nitrate", grounds=kind.grounds)  # fmt: skip
        yield Entry(f"{of}.strength_mpa", group, f"{kind.name}: strength of a sound joint", kind.strength_mpa, 0.01,
                    500.0, "MPa", grounds=kind.grounds)  # fmt: skip
        yield Entry(f"{of}.softens_c", group, f"{kind.name}: softens at", softens, -20.0, 300.0, "°C", empty=True,
                    grounds=kind.grounds)  # fmt: skip
        for name, words, year in (("first", "first used", first), ("common_from", "common from", begins),
                                  ("common_until", "common until", ends), ("last", "last used", last)):  # fmt: skip
            yield Entry(f"{of}.{name}", group, f"{kind.name}: {words}", int(year), -10_000, 2200, whole=True,
                        grounds=_YEARS.get(kind.code, "From memory"))  # fmt: skip
        yield Entry(f"{of}.grounds", group, f"{kind.name}: grounds", kind.grounds, text=True)


_MET = (
    "Cellulose nitrate in two thirds of the repairs of one pottery collection, a tenth of another (Heritage Science "
    "2016, s40494-016-0116-z); the rest expert default. Brought to a sum of 100 %"
)
_YEARS = {
    "cellulose_nitrate": "Archaeologists' choice from the 1930s to the late 1970s: Neiro 2003, JAIC 42:237-244",
    "acrylic": "In use about 1970, published 1986: Koob, Studies in Conservation 31:7-14",
}


def _evidence() -> Iterator[Entry]:
    for code, name in NAMING_KINDS.items():
        kind = DEFAULT_TABLE.kinds[code]
        yield Entry(f"evidence.{code}.sure", "naming", f"{name}: right in", sure_of(kind), 1 / len(CLASSES), 0.999, "%",
                    100.0, grounds=kind.grounds)  # fmt: skip
        yield Entry(f"evidence.{code}.grounds", "naming", f"{name}: grounds", kind.grounds, text=True)
    for code, name in LOOKING_KINDS.items():
        kind = DEFAULT_TABLE.kinds[code]
        yield Entry(f"evidence.{code}.grounds", f"evidence.{code}", f"{name}: grounds", kind.grounds, text=True)
        for row, outcome in enumerate(kind.outcomes):
            for column, adhesive in enumerate(CLASSES):
                yield Entry(f"evidence.{code}.{outcome}.{adhesive}", f"evidence.{code}",
                            f"{name}: {outcome.replace('_', ' ')} on {adhesive.replace('_', ' ')}",
                            float(kind.chances[row, column]), 1e-4, 1.0, "%", 100.0, grounds=kind.grounds)  # fmt: skip


def _sharing() -> Iterator[Entry]:
    shipped, share = Sharing(), partial(Entry, group="sharing", high=1.0, unit="%", scale=100.0)
    for code, words in (
        ("within_restoration", "A joint holds by its restoration's adhesive"),
        ("within_workshop", "A restoration follows its workshop's habit"),
        ("alike_looks", "Looks at joints of one restoration repeat each other"),
        ("handling", "Scatter of strength that joints of one object share"),
    ):
        yield share(f"sharing.{code}", name=words, shipped=getattr(shipped, code))
    yield Entry("sharing.frailty", "sharing", "Spread of pace between restorations", shipped.frailty, 0.0, 2.0,
                "sd of the logarithm")  # fmt: skip
    unsure = Doubt()
    for code in ("strength", "speed", "scatter"):
        yield Entry(f"doubt.{code}", "sharing", f"Doubt about the assumed {code}", getattr(unsure, code), 0.0, 2.0,
                    "sd of the logarithm")  # fmt: skip


def _strength() -> Iterator[Entry]:
    levels = ShockLevels()
    for move in MOVES:
        yield Entry(f"shocks.{move}", "loads", f"Peak acceleration: {move}", getattr(levels, move), 1.0, 200.0, "g",
                    grounds="Handling practice (from memory): hand 1-2 g, trolley 2-5 g, lorry 0.5-2 g")  # fmt: skip
    for stage, left in zip(STAGES[:OPEN], STRENGTH_BY_STAGE, strict=False):
        yield Entry(f"strength.{stage.replace(' ', '_')}", "loads", f"Strength left, {stage}", left, 0.0, 1.0, "%",
                    100.0)  # fmt: skip
    yield Entry("strength.scatter", "loads", "Scatter of load over strength", STRENGTH_SCATTER, 0.01, 3.0,
                "sd of the logarithm")  # fmt: skip
    yield Entry("strength.shared_scatter", "loads", "Part of that scatter that stays with a joint", SHARED_SCATTER,
                0.0, 0.999, "%", 100.0)  # fmt: skip


def _covariates() -> Iterator[Entry]:
    for each in COVARIATES:
        yield Entry(f"covariates.{each.code}", "covariates", each.name, each.factor, 0.05, 20.0, "× rate",
                    grounds=each.grounds)  # fmt: skip


def _bands() -> Iterator[Entry]:
    agreed = f"{EXPERT}, to be agreed by the department's conservator"
    share = partial(Entry, group="bands", unit="%", scale=100.0, grounds=agreed)
    yield share("bands.lifted_share", name="Film lifted on a load-bearing joint: do not lift from",
                shipped=LIFTED_SHARE, low=0.01, high=1.0)  # fmt: skip
    yield share("bands.likely", name="Chance that is counted as likely", shipped=LIKELY, low=0.01, high=0.99)
    yield share("bands.told_apart", name="Two objects are told apart in at least", shipped=TOLD_APART, low=0.5,
                high=1.0)  # fmt: skip
    yield Entry("first", "bands", "Size of the group that counts as among the first", FIRST, 1, 10_000, "objects",
                whole=True, grounds=f"{EXPERT}: what a team looks at in its first days")  # fmt: skip
