"""Weighing of evidence against Bayes' rule written out, and the default table against published observations."""

import numpy as np
import pytest

from survey.risk.identification import CLASSES, DEFAULT_PRIOR, NITRATE, date_likelihood, posterior
from survey.risk.likelihoods import DEFAULT_TABLE


def test_bayes_rule_written_out():
    """Two tests that are positive in 90 % and 80 % of cases, in 5 % and 10 % of others; prior 0.3."""
    for_it, against = 0.3 * 0.9 * 0.8, 0.7 * 0.05 * 0.1
    got = posterior([0.3, 0.7], [[0.9, 0.05], [0.8, 0.1]])
    assert got == pytest.approx([for_it / (for_it + against), against / (for_it + against)], rel=1e-12)


@pytest.mark.parametrize(
    ("adhesive", "colour"),
    [
        ("epoxy", "yellowish_white"),
        ("pvac", "bluish_milky"),
        ("natural_resin", "orange"),
        ("cellulose_nitrate", "greenish_yellow"),
        ("acrylic", "none"),
    ],
)
def test_colours_under_ultraviolet_light(adhesive, colour):
    """US National Park Service, Conserve O Gram 1/10 (2000), long-wave fluorescence of adhesives on ceramics."""
    kind = DEFAULT_TABLE.kinds["uv"]
    assert kind.outcomes[kind.chances[:, CLASSES.index(adhesive)].argmax()] == colour
    flat = np.full(len(CLASSES), 1 / len(CLASSES))
    assert CLASSES[posterior(flat, [kind.likelihood(colour)]).argmax()] in {adhesive, "mechanical"}


@pytest.mark.parametrize(("kind", "outcome"), [("nitrate_test", "deep_blue"), ("solvent", "acetone")])
def test_what_speaks_for_cellulose_nitrate(kind, outcome):
    """Deep blue with diphenylamine: Koob, Conservation DistList 13:23 (1999). Acetone: Neiro 2003, JAIC 42:237-244."""
    likelihood = DEFAULT_TABLE.kinds[kind].likelihood(outcome)
    assert likelihood.argmax() == NITRATE
    assert posterior(DEFAULT_PRIOR, [likelihood])[NITRATE] > DEFAULT_PRIOR[NITRATE]


def test_prior_share_of_cellulose_nitrate_lies_within_the_published_range():
    """About a tenth of the repairs in one pottery collection, two thirds in another: Heritage Science 2016,
    s40494-016-0116-z."""
    assert 0.10 < DEFAULT_PRIOR[NITRATE] < 0.67
    assert DEFAULT_PRIOR.sum() == pytest.approx(1)


def test_years_in_which_cellulose_nitrate_was_the_choice():
    """1930s to late 1970s in archaeology, some use since: Neiro 2003; the material is made from the 1870s."""
    by_year = date_likelihood([1860, 1900, 1935, 1955, 1978, 1995], [1860, 1900, 1935, 1955, 1978, 1995])[:, NITRATE]
    assert by_year[2:5] == pytest.approx([1, 1, 1])
    assert by_year[0] < 0.1
    assert by_year[0] < by_year[1] < 1
    assert 0 < by_year[5] < 1


def test_infrared_bands_named_in_the_grounds():
    """Bands at 6.1 and 11.9 micrometres (Koob 1999) in wave numbers: 1e4 / wavelength."""
    numbers = [round(1e4 / 6.1), round(1e4 / 11.9)]
    assert numbers == [1639, 840]
    assert all(str(number) in DEFAULT_TABLE.kinds["ftir"].grounds for number in numbers)
