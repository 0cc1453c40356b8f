"""Ice against reference formulations: melting under pressure (IAPWS R14-08), elastic constants (SeaFreeze)."""

import itertools
import warnings
from dataclasses import replace

import numpy as np
import pytest
from iapws._iapws import _Melting_Pressure  # the package keeps it private, but it is the release's equation
from scipy.optimize import brentq

from experiments.report.words import warm_ice
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from sim.ice.ice import hardened, melting_point

ICE = read_request(composed([])[0]).settings[0].ice


def melts_at(pressure_mpa: float) -> float:
    """Melting temperature of ice Ih, deg C: the release's pressure over temperature, inverted."""
    return brentq(lambda t: _Melting_Pressure(t, "Ih") - pressure_mpa, 255.0, 273.16, xtol=1e-9) - 273.15


@pytest.mark.parametrize("pressure_mpa", [0.15, 1.0, 5.0, 10.0, 17.7, 25.0, 30.0])
def test_melting_point_is_that_of_iapws_r14_08(pressure_mpa):
    theirs, ours = melts_at(pressure_mpa), melting_point(pressure_mpa * 1e6)
    print(f"{pressure_mpa} MPa: IAPWS R14-08(2011) {theirs:.5f}, ours {ours:.5f} deg C")
    assert abs(ours - theirs) < 1.1e-4


def test_melting_point_without_pressure_is_that_of_ice_on_a_rink():
    assert melting_point(0.0) == 0.0
    assert -0.001 < melting_point(101325.0) <= 0.0  # 0 deg C at one atmosphere by definition of the old scale
    falling = [melting_point(p) for p in np.linspace(0, 30e6, 61)]
    assert all(a >= b for a, b in itertools.pairwise(falling))


def test_elastic_constants_are_those_of_seafreeze_at_the_ice_temperature():
    """SeaFreeze (Journaux et al. 2020, J. Geophys. Res. Planets 125): bulk and shear modulus of ice Ih."""
    from seafreeze import seafreeze  # slow to import

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        point = np.array([np.array([0.1]), np.array([273.15 + ICE.temperature_c])], dtype=object)
        found = seafreeze.seafreeze(point, "Ih")
    bulk, shear = (float(x[0, 0]) * 1e6 for x in (found.Ks, found.shear))
    young = 9 * bulk * shear / (3 * bulk + shear)
    poisson = (3 * bulk - 2 * shear) / (2 * (3 * bulk + shear))
    theirs = young / (1 - poisson**2)
    print(f"plane modulus: SeaFreeze {theirs / 1e9:.3f}, ours {ICE.plane_modulus_pa / 1e9:.3f} GPa")
    assert ICE.modulus_pa == pytest.approx(young, rel=0.01)
    assert ICE.plane_modulus_pa == pytest.approx(theirs, rel=0.01)


@pytest.mark.parametrize(("factor", "edge"), [(1.0, -1.17), (0.84, -0.97), (1.16, -1.38)])
def test_warm_edge_is_where_hardness_is_the_melting_pressure(factor, edge):
    """H = 14.7 - 0.6 T MPa against IAPWS: solved here with the package, to 0.01 K."""
    hardness = lambda t: factor * (14.7 - 0.6 * t)  # noqa: E731
    exact = brentq(lambda t: melts_at(hardness(t)) - t, -3.0, -0.1)
    assert exact == pytest.approx(edge, abs=0.01)
    near = replace(ICE, hardness_factor=factor)
    assert replace(near, temperature_c=exact + 0.01).melts_under_hardness
    assert not replace(near, temperature_c=exact - 0.01).melts_under_hardness


def test_caution_names_temperature_and_hardness():
    text = warm_ice(replace(ICE, temperature_c=-1.0))
    assert "-1 degC" in text and "15.3 MPa" in text


def test_hardness_grows_with_the_rate_of_pressing():
    numbers = ICE.numbers
    same = hardened(numbers, 0.1, 6.2e-3 * 300, 1e-4, 0.03)  # V d/l = v_0
    assert same == numbers
    tenfold = hardened(numbers, 0.1, 6.2e-2 * 300, 1e-4, 0.03)
    assert tenfold.hardness / numbers.hardness == pytest.approx(10**0.1, rel=1e-12)
    assert hardened(numbers, 0.0, 8.0, 1e-4, 0.03) == numbers
