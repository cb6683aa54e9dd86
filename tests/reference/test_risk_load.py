"""Stress in a joint against beam theory worked by hand, and warm joints against published transitions."""

import numpy as np
import pytest
from scipy import integrate, stats

from survey.risk.adhesives import ADHESIVES
from survey.risk.load import failure_chance, joint_stress, softens, utilisation


def test_sherd_of_a_tenth_of_a_square_decimetre_at_rest():
    """100 cm2 by 5 mm at 2400 kg/m3: 0.120 kg; joint 100 mm long, overhang 50 mm. Closed form."""
    mass = 100e-4 * 5e-3 * 2400
    assert mass == pytest.approx(0.120)
    pull, bending = joint_stress(mass, 100, 5, 50, 1)
    assert pull == pytest.approx(2353.6, abs=0.05)
    assert bending == pytest.approx(141_216, abs=0.5)
    assert bending / pull == pytest.approx(60)  # leverage and wall thickness dominate: 6 c / t


def test_the_same_sherd_at_twenty_times_its_weight():
    """Passes 2 MPa in pull, fails it in bending even when sound. Closed form."""
    pull, bending = joint_stress(0.120, 100, 5, 50, 20)
    assert (pull, bending) == (pytest.approx(47_070, abs=5), pytest.approx(2_824_300, abs=50))
    assert utilisation(pull, 2e6) == pytest.approx(0.024, abs=5e-4)
    assert utilisation(bending, 2e6) == pytest.approx(1.41, abs=5e-3)


@pytest.mark.parametrize("used", [0.1, 0.5, 1.0, 1.41, 3.0])
def test_one_move_is_the_lognormal_distribution_function(used):
    """Against scipy.stats.lognorm: strength over stress lognormal with log standard deviation 0.5."""
    assert failure_chance([used]) == pytest.approx(stats.lognorm.cdf(used, 0.5), abs=1e-7)


@pytest.mark.parametrize("shared", [0.2, 0.5, 0.9])
@pytest.mark.parametrize(("used", "counts"), [((0.5,), (4,)), ((0.3, 0.9), (5, 2)), ((0.4,), (100,))])
def test_several_moves_of_one_joint_against_adaptive_integration(shared, used, counts):
    """Given the joint's own part of the scatter, moves are independent: integrated by scipy.integrate.quad."""

    def holds(own: float) -> float:
        one = stats.norm.cdf(-(np.log(used) / 0.5 + np.sqrt(shared) * own) / np.sqrt(1 - shared))
        return float(stats.norm.pdf(own) * np.prod(one ** np.array(counts)))

    survival = integrate.quad(holds, -10, 10, epsabs=1e-12, limit=400)[0]
    assert failure_chance(used, counts, shared=shared) == pytest.approx(1 - survival, abs=1e-6)


def test_acrylic_creeps_in_a_warm_case_but_not_at_room_temperature():
    """Transition 40 °C: Koob, Conservation DistList 9:74 (1996); lowered by up to 30 °C while solvent is held:
    Vincotte and others, Heritage Science 2019, s40494-019-0283-9. The margin of 10 °C is common practice."""
    acrylic = next(adhesive for adhesive in ADHESIVES if adhesive.code == "acrylic")
    assert acrylic.softens_c == 40
    assert not softens(22, acrylic.softens_c)
    assert softens(31, acrylic.softens_c)
    assert softens(22, acrylic.softens_c, solvent_drop_c=30)
    assert not softens(35, np.nan)
