"""What each class of adhesive is taken to be: how fast it fails, how strong it was, when it softens.

Speeds are relative to cellulose nitrate, for which alone service lives are published; strengths of sound joints and
glass transitions carry their source or are expert defaults. To be edited where a department knows better.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.risk.identification import CLASSES


@dataclass(frozen=True)
class Adhesive:
    """One class: ``speed`` of passing through the stages (cellulose nitrate 1), ``strength_mpa`` of a sound joint
    in tension, ``softens_c`` its glass transition in °C (nan if it has none that matters), and the grounds."""

    code: str
    name: str
    speed: float
    strength_mpa: float
    softens_c: float
    grounds: str

    def __post_init__(self) -> None:
        for name in ("speed", "strength_mpa"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be more than zero")


_MARBLE = "bonds on marble, which broke first: Podany and others 2001, JAIC 40:15-33"

ADHESIVES: tuple[Adhesive, ...] = (
    Adhesive("animal_glue", "animal glue", 0.5, 3.0, np.nan, "Expert default; fails fast in damp"),
    Adhesive("natural_resin", "natural resin", 0.7, 2.0, 50.0, "Expert default"),
    Adhesive("cellulose_nitrate", "cellulose nitrate", 1.0, 2.0, 80.0,
             "Speed by definition; strength expert default, none is published; softens near 80 to 90 °C "
             "(Koob 1996, quoting Shashoua and others 1992)"),
    Adhesive("rubber_cement", "rubber cement", 2.0, 0.5, np.nan, "Expert default"),
    Adhesive("pvac", "poly(vinyl acetate)", 0.5, 2.0, 30.0, "Expert default; creeps; transition from memory"),
    Adhesive("epoxy", "epoxy", 0.25, 4.7, 50.0, f"Speed expert default; strength a lower bound from {_MARBLE}"),
    Adhesive("cyanoacrylate", "cyanoacrylate", 0.8, 4.0, 100.0, "Expert default"),
    Adhesive("polyester", "polyester", 0.35, 4.1, 60.0, f"Speed expert default; strength a lower bound from {_MARBLE}"),
    Adhesive("acrylic", "acrylic copolymer", 0.15, 4.3, 40.0,
             f"Speed expert default; strength a lower bound from {_MARBLE}; transition 40 °C (Koob 1996)"),
    Adhesive("plaster_cement", "plaster or cement", 0.6, 0.8, np.nan, "Expert default"),
    Adhesive("mechanical", "rivets, wire or dowels", 0.3, 5.0, np.nan, "Expert default"),
    Adhesive("other", "another material", 0.7, 1.5, np.nan, "Expert default"),
)  # fmt: skip

NAMES: dict[str, str] = {adhesive.code: adhesive.name for adhesive in ADHESIVES}


def speeds(adhesives: Sequence[Adhesive] = ADHESIVES) -> NDArray[np.float64]:
    """Speeds [c] in the order of ``CLASSES``."""
    return np.array([adhesive.speed for adhesive in in_order(adhesives)])


def sound_strengths_pa(adhesives: Sequence[Adhesive] = ADHESIVES) -> NDArray[np.float64]:
    """Strengths of sound joints [c], Pa, in the order of ``CLASSES``."""
    return np.array([adhesive.strength_mpa * 1e6 for adhesive in in_order(adhesives)])


def glass_transitions_c(adhesives: Sequence[Adhesive] = ADHESIVES) -> NDArray[np.float64]:
    """Glass transitions [c], °C, nan where a class has none, in the order of ``CLASSES``."""
    return np.array([adhesive.softens_c for adhesive in in_order(adhesives)])


def in_order(adhesives: Sequence[Adhesive]) -> list[Adhesive]:
    """One of each class, in the order of ``CLASSES``; ValueError if one is missing or twice."""
    by_code = {adhesive.code: adhesive for adhesive in adhesives}
    if len(by_code) != len(adhesives) or set(by_code) != set(CLASSES):
        raise ValueError("adhesives must hold each class exactly once")
    return [by_code[code] for code in CLASSES]
