"""Each limit of the shop just within and just beyond, in numbers that can be worked out on paper."""

import math
from dataclasses import replace

import pytest

from experiments.analysis.grinding import LIMITS, Grinding, check, violations
from experiments.analysis.grinding_depth import depth_to_grind
from sim.blade.recipe import Recipe, Sweep
from sim.errors import BladeError
from tests.experiments.analysis.hand import FT

SHOP = Grinding("hand", 6 * FT, 30 * FT, 0.025, 0.005, 30.0, 0.100, True, 10e-6, 0.01, 0.002, 1.5e-3)
BARE = {"heel_sweep": Sweep(0.0), "toe_sweep": Sweep(0.0)}
LONG = Sweep(0.03, 0.12)


def zoned(*feet, **more):
    return Recipe("r", "zoned", tuple(f * FT for f in feet), **more)


# least change 1/7 - 1/13 ft is 0.21631 1/m: over 7.21 mm that is 30 1/m^2. Two zones of 120 mm of 10 ft and R differ by
# 0.12^2 (1/10 ft - 1/R)/8: 10 um at R = 10.1722 ft. The wheel has 100 mm. A sweep of 20 mm at 10.21 mm turns by 1.959.
BOTH_SIDES = [
    ("least radius", zoned(9, 6.001, 9), zoned(9, 5.999, 9)),
    ("greatest radius", zoned(9, 29.99), zoned(9, 30.01)),
    ("zone length", zoned(9, 16, shares=(214.9, 25.1)), zoned(9, 16, shares=(215.1, 24.9))),
    ("blend length", zoned(9, blend_m=0.00501), zoned(9, blend_m=0.00499)),
    ("room for blends", zoned(9, blend_m=0.0399, heel_sweep=LONG), zoned(9, blend_m=0.0401, heel_sweep=LONG)),
    ("curvature change", zoned(7, 13, blend_m=0.00722), zoned(7, 13, blend_m=0.00720)),
    ("template resolution", zoned(10, 10.1725), zoned(10, 10.1718)),
    ("wheel radius", zoned(9, toe_sweep=Sweep(0.02, 0.1001)), zoned(9, toe_sweep=Sweep(0.02, 0.0999))),
    ("level point", zoned(9, level_m=-0.1399), zoned(9, level_m=-0.1401)),
]


@pytest.mark.parametrize(("limit", "within", "beyond"), BOTH_SIDES, ids=[name for name, *_ in BOTH_SIDES])
def test_just_within_can_be_ground_and_just_beyond_cannot(limit, within, beyond):
    assert check(within, SHOP) == []
    assert [line.split(":")[0] for line in check(beyond, SHOP)] == [limit]


def test_a_runner_may_turn_by_two_radians():
    """Bare 0.28 m of one radius R turn by 0.28/R: 2 rad at 140 mm."""
    loose = replace(SHOP, least_radius_m=0.1, negative_template=False)
    one = Recipe("r", "single_radius", (0.1401,), **BARE)
    assert check(one, loose) == []
    assert [x.split(":")[0] for x in check(replace(one, radii_m=(0.1399,)), loose)] == ["turning"]


def test_excesses_are_shares_of_the_limit():
    """A tenth tighter than 6 ft: 1/0.9 - 1; a wheel of 100 mm in 80 mm: 0.25; 20 mm of 25 mm: 0.2."""
    found = dict(zip(LIMITS, violations(zoned(9, 5.4, 9, toe_sweep=Sweep(0.02, 0.08)), SHOP)))
    assert found["least radius"] == pytest.approx(1 / 9) and found["wheel radius"] == pytest.approx(0.25)
    short = dict(zip(LIMITS, violations(zoned(9, 12, shares=(220, 20)), SHOP)))
    assert short["zone length"] == pytest.approx(0.2) and short["steel available"] == -1.0
    assert dict(zip(LIMITS, violations(zoned(9, 40), SHOP)))["greatest radius"] == pytest.approx(0.25)


def test_depth_of_one_circle_ground_out_of_another():
    """Without sweeps: half-length^2/2 times the change of curvature, at the ends; 8 ft out of 10 ft over 280 mm."""
    old, new = (Recipe("r", "single_radius", (f * FT,), **BARE).curve() for f in (10, 8))
    depth, where = depth_to_grind(new, old)
    sagitta = [math.sqrt(r**2 - 0.1399**2) for r in (10 * FT, 8 * FT)]
    assert depth == pytest.approx((8 * FT - sagitta[1]) - (10 * FT - sagitta[0]), rel=5e-3)
    assert abs(where) == pytest.approx(0.14, abs=1e-3)
    back, middle = depth_to_grind(old, new)
    assert back == pytest.approx(depth, rel=5e-3) and abs(middle) < 1e-3, "a longer radius takes as much off the middle"


def test_steel_available_on_both_sides():
    old, new = (Recipe("r", "single_radius", (f * FT,), **BARE) for f in (10, 8))
    depth, _ = depth_to_grind(new.curve(), old.curve())
    for share, broken in ((1.001, []), (0.999, ["steel available"])):
        limits = replace(SHOP, steel_available_m=share * depth)
        assert [x.split(":")[0] for x in check(new, limits, old.curve())] == broken
        cut = replace(limits, cleaning_cut_m=0.05e-3, steel_available_m=share * (depth + 0.05e-3))
        assert [x.split(":")[0] for x in check(new, cut, old.curve())] == broken, "what any visit takes is taken, too"


def test_runners_of_another_length_are_refused_from_two_millimetres():
    stock = Recipe("s", "single_radius", (10 * FT,)).curve()
    depth_to_grind(Recipe("r", "single_radius", (9 * FT,), length_m=0.2819).curve(), stock)
    with pytest.raises(BladeError, match="one length"):
        depth_to_grind(Recipe("r", "single_radius", (9 * FT,), length_m=0.2821).curve(), stock)
