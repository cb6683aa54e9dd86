"""The default table: how each class of adhesive on ceramics tends to look and to answer tests.

Weights are relative within one class and are brought to a sum of 1; what a row does not name keeps a small chance,
so that no single look excludes a class. All are expert defaults; the grounds say what was published.
"""

from collections.abc import Mapping

import numpy as np

from survey.risk.identification import CLASSES, EvidenceKind, LikelihoodTable

Weights = Mapping[str, Mapping[str, float]]  # class -> outcome -> weight


def _kind(code: str, outcomes: tuple[str, ...], weights: Weights, grounds: str, *, floor: float) -> EvidenceKind:
    """One kind of evidence from the outcomes that its classes tend to show; ``floor`` is the weight of the rest."""
    chances = np.full((len(outcomes), len(CLASSES)), floor)
    for name, expected in weights.items():
        for outcome, weight in expected.items():
            chances[outcomes.index(outcome), CLASSES.index(name)] = weight
    return EvidenceKind(code, outcomes, chances / chances.sum(axis=0), f"Expert default. {grounds}")


def naming(code: str, sure: float, grounds: str) -> EvidenceKind:
    """Evidence that names a class outright, right with chance ``sure``, else any other class."""
    chances = np.full((len(CLASSES), len(CLASSES)), (1.0 - sure) / (len(CLASSES) - 1))
    np.fill_diagonal(chances, sure)
    return EvidenceKind(code, CLASSES, chances, grounds)


_GUESS = naming(
    "guess", 0.35, "Expert default. The surveyor's guess from date and hand: the weakest basis (common practice)."
)

_LOOK = _kind(
    "look",
    ("clear_flush", "clear_soft", "clear_thin_bloom", "yellow_shrunk_film", "hard_yellow", "amber_brittle",
     "orange_brown", "brown_sticky", "white_matt", "metal_or_drilled", "dark_or_putty"),
    {
        "animal_glue": {"amber_brittle": 0.7, "orange_brown": 0.1, "yellow_shrunk_film": 0.05},
        "natural_resin": {"orange_brown": 0.7, "amber_brittle": 0.15, "dark_or_putty": 0.05},
        "cellulose_nitrate": {"yellow_shrunk_film": 0.65, "clear_flush": 0.1, "amber_brittle": 0.1,
                              "hard_yellow": 0.05},
        "rubber_cement": {"brown_sticky": 0.75, "orange_brown": 0.1},
        "pvac": {"clear_soft": 0.6, "clear_flush": 0.2},
        "epoxy": {"hard_yellow": 0.65, "clear_flush": 0.15, "amber_brittle": 0.05},
        "cyanoacrylate": {"clear_thin_bloom": 0.65, "clear_flush": 0.2},
        "polyester": {"hard_yellow": 0.65, "amber_brittle": 0.1, "clear_flush": 0.1},
        "acrylic": {"clear_flush": 0.65, "clear_soft": 0.2},
        "plaster_cement": {"white_matt": 0.8, "dark_or_putty": 0.1},
        "mechanical": {"metal_or_drilled": 0.95},
        "other": {"dark_or_putty": 0.5},
    },
    "Shrunken, yellow, peeling film for cellulose nitrate (Koob 1998, JAIC 37:49-67; common practice); the others "
    "from memory.",
    floor=0.02,
)  # fmt: skip

_UV = _kind(
    "uv",
    ("none", "greenish_yellow", "bluish_white", "bluish_milky", "orange", "yellowish_white"),
    {
        "animal_glue": {"bluish_white": 0.75, "bluish_milky": 0.08},
        "natural_resin": {"orange": 0.75, "none": 0.1},
        "cellulose_nitrate": {"greenish_yellow": 0.65, "none": 0.12, "yellowish_white": 0.1},
        "rubber_cement": {"none": 0.4, "greenish_yellow": 0.1, "yellowish_white": 0.2, "bluish_white": 0.15},
        "pvac": {"bluish_milky": 0.7, "bluish_white": 0.15},
        "epoxy": {"yellowish_white": 0.7, "bluish_white": 0.1},
        "cyanoacrylate": {"none": 0.6, "bluish_white": 0.2},
        "polyester": {"bluish_white": 0.5, "bluish_milky": 0.15, "yellowish_white": 0.15},
        "acrylic": {"none": 0.75, "bluish_white": 0.1},
        "plaster_cement": {"none": 0.6, "bluish_white": 0.25},
        "mechanical": {"none": 0.9},
        "other": {"none": 0.5},
    },
    "Long-wave colours of epoxy, poly(vinyl acetate), shellac, cellulose nitrate and acrylic copolymer: US National "
    "Park Service, Conserve O Gram 1/10 (2000). Fluorescence grows with age and pigment hides it. Others from memory.",
    floor=0.03,
)

_SOLVENT = _kind(
    "solvent",
    ("water", "ethanol", "acetone", "hydrocarbon", "swells_only", "no_response"),
    {
        "animal_glue": {"water": 0.8, "no_response": 0.08},
        "natural_resin": {"ethanol": 0.65, "no_response": 0.2, "acetone": 0.05},
        "cellulose_nitrate": {"acetone": 0.85, "swells_only": 0.05},
        "rubber_cement": {"hydrocarbon": 0.6, "swells_only": 0.15, "no_response": 0.15},
        "pvac": {"acetone": 0.5, "ethanol": 0.3, "water": 0.1},
        "epoxy": {"swells_only": 0.45, "no_response": 0.5},
        "cyanoacrylate": {"acetone": 0.45, "swells_only": 0.3, "no_response": 0.15},
        "polyester": {"swells_only": 0.4, "no_response": 0.5},
        "acrylic": {"acetone": 0.75, "hydrocarbon": 0.1, "ethanol": 0.08},
        "plaster_cement": {"water": 0.35, "no_response": 0.6},
        "mechanical": {"no_response": 0.95},
        "other": {"no_response": 0.4, "hydrocarbon": 0.3},
    },
    "The first solvent that a swab answers to. Acetone for cellulose nitrate (Neiro 2003) and acrylic copolymer "
    "(Koob); others from memory. Not on residues, soluble glazes or cold paint.",
    floor=0.02,
)

_NITRATE_TEST = _kind(
    "nitrate_test",
    ("deep_blue", "unclear", "none"),
    {
        **{code: {"deep_blue": 0.02, "unclear": 0.08, "none": 0.9} for code in CLASSES},
        "cellulose_nitrate": {"deep_blue": 0.88, "unclear": 0.08, "none": 0.04},
        "pvac": {"deep_blue": 0.08, "unclear": 0.1, "none": 0.82},
        "acrylic": {"deep_blue": 0.05, "unclear": 0.1, "none": 0.85},
    },
    "Diphenylamine in strong sulfuric acid, by someone trained in it and under the laboratory's safety rules, on a "
    "removed sample, never on the object: deep blue is positive (Koob, "
    "Conservation DistList 13:23, 1999). Oxidisers mislead (from memory); nitrate also occurs within other adhesives "
    "(Heritage Science 2016, s40494-016-0116-z).",
    floor=0.02,
)

_PROTEIN_TEST = _kind(
    "protein_test",
    ("positive", "none"),
    {
        **{code: {"positive": 0.04, "none": 0.96} for code in CLASSES},
        "animal_glue": {"positive": 0.9, "none": 0.1},
    },
    "Spot test for protein on a removed sample (common practice).",
    floor=0.02,
)

_RECORD = naming(
    "record", 0.88,
    "Expert default. A written treatment record about this object that names the class (common practice: strong).",
)  # fmt: skip

_FTIR = naming(
    "ftir", 0.93,
    "Expert default. Infrared spectrum matched to a class. Cellulose nitrate: strong bands near 1639 and 840 cm-1 "
    "(Koob 1999); a weak band near 1656 cm-1 marks it as a minor part of poly(vinyl acetate) (Heritage Science 2016).",
)  # fmt: skip

DEFAULT_TABLE = LikelihoodTable(
    {kind.code: kind for kind in (_GUESS, _LOOK, _UV, _SOLVENT, _NITRATE_TEST, _PROTEIN_TEST, _RECORD, _FTIR)}
)
