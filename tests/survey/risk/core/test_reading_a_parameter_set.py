"""A set of assumed values read as one typed whole: shipped where it says nothing, refused where it says nonsense."""

import contextlib
import dataclasses
from collections.abc import Iterator

import numpy as np
import pytest

from survey.risk.adhesives import ADHESIVES, glass_transitions_c
from survey.risk.ageing import ACTIVATION_ENERGIES, HUMIDITY_EXPONENTS
from survey.risk.draws import Doubt
from survey.risk.entries import Entry, entries
from survey.risk.identification import CLASSES, DEFAULT_PRIOR, YEARS_OF_USE, date_likelihood, joint_posteriors
from survey.risk.inputs import Assumptions
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.parameters import Parameters, differing, read
from survey.risk.workshops import Sharing

NITRATE = CLASSES.index("cellulose_nitrate")


def test_an_empty_set_is_what_the_core_ships():
    held, core = read({}), Assumptions()
    for field in dataclasses.fields(Assumptions):
        if field.name in {"adhesives", "misclassification"}:  # they hold nan and arrays
            continue
        assert getattr(held.assumptions, field.name) == getattr(core, field.name), field.name
    np.testing.assert_array_equal(held.assumptions.misclassification, core.misclassification)
    np.testing.assert_array_equal(glass_transitions_c(held.assumptions.adhesives), glass_transitions_c(ADHESIVES))
    assert [dataclasses.replace(a, softens_c=1.0) for a in held.assumptions.adhesives] == [
        dataclasses.replace(a, softens_c=1.0) for a in ADHESIVES
    ]
    assert dataclasses.astuple(held.activation_energy) == ACTIVATION_ENERGIES
    assert dataclasses.astuple(held.humidity_exponent) == HUMIDITY_EXPONENTS
    np.testing.assert_allclose(held.class_prior, DEFAULT_PRIOR, rtol=1e-12)
    assert list(held.table.kinds) == list(DEFAULT_TABLE.kinds)
    for code, kind in DEFAULT_TABLE.kinds.items():
        np.testing.assert_allclose(held.table.kinds[code].chances, kind.chances, rtol=1e-12)
        assert held.table.kinds[code].grounds == kind.grounds
    assert dict(held.table.years_of_use) == dict(YEARS_OF_USE)
    assert held.sharing == Sharing()
    assert held.doubt == Doubt()
    assert held.default_climate == "heated"


def test_what_the_first_installations_kept_still_reads():
    held = read({"activation_energy": 81_000.0, "humidity_exponent": 1.0, "default_climate": "cellar"})
    assert (held.activation_energy.usual, held.humidity_exponent.usual, held.default_climate) == (81e3, 1.0, "cellar")


def test_each_number_reaches_the_whole():
    """Nothing that can be edited is without effect: a changed entry changes what is read."""
    shipped = _spelt(read({}))
    numbers = [each for each in entries().values() if not (each.text or each.choices)]
    without = [each.path for each in numbers if not any(_spelt(told) != shipped for told in _nearby(each))]
    assert len(numbers) > 400
    assert without == []


def _nearby(each: Entry) -> Iterator[Parameters]:
    """What is read with an entry a little changed, as far as it can be."""
    value = float(each.shipped) if each.shipped is not None else 45.0
    for changed in (value * 1.02, value * 0.98, value + 1, value - 1):
        with contextlib.suppress(ValueError):
            yield read({each.path: round(changed) if each.whole else changed})


def _spelt(held: Parameters) -> str:
    with np.printoptions(precision=17, threshold=100_000):
        return repr(held)


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"shock.lift": 2.0}, "shock.lift"),
        ({"shocks.lift": 0.5}, "shocks.lift"),
        ({"shocks.lift": "2"}, "shocks.lift"),
        ({"shocks.lift": True}, "shocks.lift"),
        ({"shocks.lift": float("nan")}, "shocks.lift"),
        ({"shocks.lift": None}, "shocks.lift"),
        ({"first": 2.5}, "first"),
        ({"default_climate": "tropical"}, "default_climate"),
        ({"activation_energy": 60_000.0}, "activation_energy"),
        ({"humidity_exponent_high": 1.1}, "humidity_exponent"),
        ({"beliefs.middle.mean_years": 90.0}, "beliefs.middle.mean_years"),
        ({"strength.ageing": 0.2}, "strength"),
        ({"adhesives.epoxy.first": 1960, "adhesives.epoxy.common_from": 1950}, "adhesives.epoxy"),
        ({"adhesives.epoxy.speed": 0.0}, "adhesives.epoxy.speed"),
        ({"evidence.uv.orange.epoxy": 0.0}, "evidence.uv.orange.epoxy"),
        ({"evidence.uv.grounds": "x" * 2000}, "evidence.uv.grounds"),
        ({"__class__": 1}, "__class__"),
        ([("first", 3)], "values"),
    ],
)
def test_nonsense_is_refused_by_name(values, named):
    with pytest.raises(ValueError, match=f"^{named}"):
        read(values)


def test_a_set_keeps_only_what_differs():
    assert differing({"first": 20, "shocks.lift": 2.0, "shocks.travel": 7.0}) == {"shocks.travel": 7.0}


def test_shares_of_adhesives_and_of_outcomes_add_up_to_one_again():
    held = read({"adhesives.cellulose_nitrate.met": 0.67, "evidence.uv.none.epoxy": 0.5})
    assert held.class_prior.sum() == pytest.approx(1.0)
    # 0.67 beside the other shares, which add up to 0.65 as shipped.
    assert held.class_prior[NITRATE] == pytest.approx(0.67 / (0.67 + 0.65))
    np.testing.assert_allclose(held.table.kinds["uv"].chances.sum(axis=0), 1.0)


def test_edited_years_of_use_move_what_a_date_says():
    late = read({"adhesives.cellulose_nitrate.common_until": 2010, "adhesives.cellulose_nitrate.last": 2020}).table
    before, after = (
        joint_posteriors(DEFAULT_PRIOR, [{}], table=table, dates=[[2005, 2005]])[0, NITRATE]
        for table in (DEFAULT_TABLE, late)
    )
    assert after > before
    assert date_likelihood(2005, 2005, years_of_use=late.years_of_use)[NITRATE] == pytest.approx(1.0)
