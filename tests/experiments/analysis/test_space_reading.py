"""What a search may be asked to look through, each number just within and just beyond; and points back from recipes."""

import math
from dataclasses import replace

import pytest

from experiments.analysis.space import Space, read_space
from experiments.request.fields import Fields
from sim.blade.recipe import FAMILIES, Recipe
from sim.errors import BladeError
from tests.experiments.analysis.hand import TEN

BASE = TEN.recipe
ASKED = {"name": "mine", "kind": "zones", "count": [1, 3], "shape": "free", "radii": ["2 m", "4.5 m"],
         "level": ["-5 mm", "10 mm"], "blend": ["15 mm", "20 mm"]}  # fmt: skip


def read(**change) -> Space:
    return read_space(Fields(ASKED | change, "space"), BASE)


# ---------------------------------------------------------------- what is asked


def test_a_space_is_read_into_si():
    found = read()
    assert (found.kind, found.least, found.most, found.shape, found.base) == ("zones", 1, 3, "free", BASE)
    assert found.radii_m == (2.0, 4.5)
    assert found.level_m == pytest.approx((-0.005, 0.010)) and found.blend_m == pytest.approx((0.015, 0.020))


@pytest.mark.parametrize(
    ("change", "counts"),
    [
        ({"count": [5, 5]}, (5, 5)), ({"count": [1, 5]}, (1, 5)), ({"count": [2.0, 3.0]}, (2, 3)),
        ({"kind": "graded", "count": [1, 1]}, (2, 2)), ({"kind": "graded", "count": [1, 2]}, (2, 2)),
        ({"kind": "spline", "count": [3, 3]}, (3, 3)), ({"kind": "spline", "count": [12, 12]}, (12, 12)),
        ({"shape": "mid_flat", "count": [3, 4]}, (3, 4)), ({"shape": "rear_flat", "count": [1, 2]}, (1, 2)),
        ({"shape": "symmetric", "count": [1, 1]}, (1, 1)),
    ],
)  # fmt: skip
def test_numbers_of_zones_and_knots_that_make_a_space(change, counts):
    """A graded curve has two radii, whatever the counts say."""
    found = read(**change)
    assert (found.least, found.most) == counts


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"count": [1, 6]}, r"space.count\[1\]: 6 is not a plain number within 1 and 5"),
        ({"count": [0, 2]}, r"space.count\[0\]: 0 is not a plain number within 1"),
        ({"count": [1.5, 3]}, r"the least and the most, for example \[1, 3\], up to 5"),
        ({"count": [1, 2.5]}, "the least and the most"), ({"count": [3, 2]}, "the least and the most"),
        ({"count": [2]}, "the least and the most"), ({"count": [1, 2, 3]}, "the least and the most"),
        ({"kind": "graded", "count": [2, 3]}, "within 1 and 2"),
        ({"kind": "spline", "count": [13, 13]}, "within 1 and 12"),
        ({"kind": "spline", "count": [3, 4]}, "a spline has one number of knots, 3 to 12"),
        ({"kind": "spline", "count": [2, 2]}, "a spline has one number of knots, 3 to 12"),
        ({"shape": "mid_flat", "count": [2, 5]}, "space.count: mid_flat has at least 3 zones"),
        ({"shape": "round"}, "space.shape: 'round' is unknown"), ({"kind": "zoned"}, "space.kind: 'zoned' is unknown"),
        ({"name": "n" * 41}, "space.name: use plain text of 1 to 40"), ({"lenght": 3}, "space.lenght: unknown key"),
    ],
)  # fmt: skip
def test_counts_and_words_that_make_none_are_refused(change, words):
    with pytest.raises(BladeError, match=words):
        read(**change)


def test_a_name_of_forty_letters_is_taken():
    assert read(name="n" * 40) == read()


ENDS = {  # what can be asked just so, and what is just beyond
    "radii": ([["0.5 m", "60 m"]], [["0.499 m", "3 m"], ["3 m", "60.1 m"], ["3 m", "2.9 m"], ["3 m", "3 m"]]),
    "level": ([["-60 mm", "60 mm"], ["5 mm", "5 mm"]], [["-60.1 mm", "0 mm"], ["0 mm", "60.1 mm"], ["1 mm", "0 mm"]]),
    "blend": ([["0 mm", "100 mm"], ["9 mm", "9 mm"]], [["-0.1 mm", "9 mm"], ["9 mm", "100.1 mm"], ["9 mm", "8 mm"]]),
}


@pytest.mark.parametrize("key", ENDS)
def test_ranges_up_to_their_ends_and_no_farther(key):
    """0.5 to 60 m of radius, 60 mm of level either way, 0 to 100 mm of blend; a radius must vary."""
    for low, high in ENDS[key][0]:
        value = {"m": 1.0, "mm": 1e-3}
        wanted = [float(end.split()[0]) * value[end.split()[1]] for end in (low, high)]
        assert getattr(read(**{key: [low, high]}), f"{key}_m") == pytest.approx(wanted)
    for ends in [*ENDS[key][1], ["9 mm"], ["0 mm", "1 mm", "2 mm"]]:
        with pytest.raises(BladeError, match=rf"space\.{key}: write the low and the high end, in order"):
            read(**{key: ends})


# ---------------------------------------------------------------- points of known recipes


def space(kind="zones", count=(1, 3), shape="free", level=(0.0, 0.0), blend=(0.02, 0.02)) -> Space:
    return Space(kind, *count, shape, (2.0, 4.5), level, blend, BASE)


def zoned(*radii, shares=(), family="zoned", **more) -> Recipe:
    return Recipe("known", family, radii, shares, **more)


def test_a_recipe_has_the_point_that_gives_it():
    """Two of one to three zones: the middle third. 3 m lies half way from 2 to 4.5. Shares 2 to 1 lie sqrt 2 either
    side of their mean, a quarter of the factor 4 in the logarithm. What there is none of stays in the middle."""
    found = space().point(zoned(3.0, 2.0, shares=(0.2, 0.1)))
    assert found == pytest.approx([0.5, 0.5, 0.0, 0.5, 0.75, 0.25, 0.5])
    assert space().recipe(found).shares == pytest.approx((math.sqrt(2), math.sqrt(0.5)))
    assert space().point(zoned(4.5)) == pytest.approx([1 / 6, 1.0, 0.5, 0.5, 0.5, 0.5, 0.5])
    assert space().point(zoned(2.0, 3.0, 4.5)) == pytest.approx([5 / 6, 0.0, 0.5, 1.0, 0.5, 0.5, 0.5])


def test_level_and_blend_are_shares_of_their_ranges():
    wide = space("graded", (2, 2), level=(-0.02, 0.02), blend=(0.01, 0.02))
    recipe = zoned(2.0, 3.0, family="graded", level_m=-0.01, blend_m=0.0175)
    assert wide.point(recipe) == pytest.approx([0.0, 0.5, 0.25, 0.75])
    assert wide.point(replace(recipe, level_m=0.021)) is None and wide.point(replace(recipe, blend_m=0.009)) is None


def test_one_radius_is_several_zones_alike_and_two_are_not_three():
    three = space(count=(3, 3))
    assert three.point(zoned(3.0, family="single_radius")) == pytest.approx([0.5] * 6)
    assert three.point(zoned(3.0, 2.0)) is None
    assert space(count=(1, 2)).point(zoned(3.0, 2.0, 3.0)) is None, "three are more than two"


OF_FAMILY = {"single_radius": (3.0,), "mid_flat": (2.0, 3.0, 2.0), "rear_flat_eased": (3.0, 4.0, 2.0),
             "spline": (3.0, 4.0, 2.0)}  # fmt: skip


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_that_there_is_starts_a_search_of_its_kind_and_of_no_other(family):
    """Whatever is added to the families: what has zones is one of zones, the rest a kind of its own name."""
    recipe = zoned(*OF_FAMILY.get(family, (3.0, 2.0)), family=family)
    wanted = "zones" if recipe.zones else family
    count = len(recipe.radii_m)
    for kind, counts in (("zones", (1, 3)), ("graded", (2, 2)), ("spline", (count, count))):
        there = space(kind, counts)
        point = there.point(recipe)
        assert (point is not None) is (kind == wanted)
        if point is not None:
            assert there.recipe(point).radii_m == pytest.approx(recipe.radii_m)


@pytest.mark.parametrize("key", ["level_m", "blend_m"])
def test_another_level_or_blend_than_a_fixed_one_is_none_of_the_spaces_recipes(key):
    """Fixed at 4 and 18 mm; a micrometre off is another, half of one is not."""
    fixed = space(level=(0.004, 0.004), blend=(0.018, 0.018))
    own = zoned(3.0, 2.0, level_m=0.004, blend_m=0.018)
    assert fixed.point(own) is not None and fixed.point(zoned(3.0, 2.0)) is None
    for off, held in ((0.5e-6, True), (-0.5e-6, True), (1.1e-6, False), (-1.1e-6, False)):
        assert (fixed.point(replace(own, **{key: getattr(own, key) + off})) is not None) is held
    free = space(level=(-0.02, 0.02), blend=(0.01, 0.03))
    assert free.point(own) is not None


def test_zones_of_other_lengths_than_a_shape_has_are_none_of_its_recipes():
    """A symmetric space gives the toe zone the length of the heel zone."""
    even = space(count=(3, 3), shape="symmetric")
    assert even.point(zoned(3.0, 2.0, 3.0, shares=(1, 2, 1))) is not None
    assert even.point(zoned(3.0, 2.0, 3.0, shares=(1, 2, 1.001))) is None
    assert even.point(zoned(3.0, 2.0, 3.0, shares=(80, 80, 80 * (1 + 1e-7)))) is not None
    assert space().point(zoned(3.0, 2.0, 3.0, shares=(1, 2, 1.001))) is not None


def test_knots_of_a_spline_are_coordinates():
    recipe = zoned(2.0, 3.0, 4.5, family="spline")
    assert space("spline", (3, 3)).point(recipe) == pytest.approx([0.0, 0.5, 1.0])
    assert space().point(recipe) is None and space("spline", (4, 4)).point(recipe) is None


def test_the_order_of_a_shape_is_asked_of_a_recipe():
    rear, mid, even = (space(count=(3, 3), shape=s) for s in ("rear_flat", "mid_flat", "symmetric"))
    assert rear.point(zoned(4.5, 3.0, 2.0)) == pytest.approx([1.0, 0.5, 0.0, 0.5, 0.5, 0.5])
    assert rear.point(zoned(2.0, 3.0, 4.5)) is None and rear.point(zoned(4.5, 2.0, 3.0)) is None
    assert mid.point(zoned(2.0, 4.5, 3.0)) is not None and mid.point(zoned(3.0, 4.5, 2.0)) is None
    assert even.point(zoned(3.0, 2.0, 3.0)) == pytest.approx([0.5, 0.0, 0.5, 0.5])
    assert even.point(zoned(3.0, 2.0, 2.5)) is None


@pytest.mark.parametrize(("count", "feet"), [(4, (3.0, 2.0, 2.0, 3.0)), (5, (3.0, 2.0, 4.5, 2.0, 3.0))])
def test_a_symmetric_recipe_is_its_own_mirror_image(count, feet):
    """Four zones have two free radii and five have three; the outer ones come last again."""
    even = space(count=(count, count), shape="symmetric")
    free = (count + 1) // 2
    assert even.free == free and len(even.names) == 2 * free
    found = even.recipe([0.5, 0.0, 1.0][:free] + [0.75, 0.5, 0.25][:free])
    assert found.radii_m == pytest.approx(feet)
    assert found.shares == found.shares[::-1] and found.shares[0] == pytest.approx(math.sqrt(2))
    assert even.point(found) == pytest.approx([0.5, 0.0, 1.0][:free] + [0.5 + x for x in _centred(found, free)])


def _centred(recipe, free):
    """Logarithms of the shares from their mean, over that of 4."""
    logs = [math.log(x) for x in recipe.shares]
    return [(x - sum(logs) / len(logs)) / math.log(4) for x in logs[:free]]


def test_the_end_of_the_first_coordinate_has_the_most_zones_and_not_one_more():
    even = space(count=(1, 5), shape="symmetric")
    assert [len(even.recipe([u] + [0.5] * 6).radii_m) for u in (0.0, 0.19, 0.21, 0.99, 1.0)] == [1, 1, 2, 5, 5]


def test_mid_flat_lays_the_zones_by_turns_to_either_side():
    """Five radii: the longest in the middle, then heel, toe, heel, toe... by length."""
    found = space(count=(5, 5), shape="mid_flat").recipe([0.0, 0.25, 0.5, 0.75, 1.0] + [0.5] * 5)
    steps = [2.0 * 2.25**u for u in (0.25, 0.75, 1.0, 0.5, 0.0)]
    heel, toe = found.radii_m[:2], found.radii_m[3:]
    assert found.radii_m[2] == pytest.approx(4.5) and sorted(found.radii_m) == pytest.approx(sorted(steps))
    assert {*map(lambda r: round(r, 9), heel)} in ({*(round(steps[i], 9) for i in (0, 1))},
                                                   {*(round(steps[i], 9) for i in (3, 4))})  # fmt: skip
    assert list(heel) == sorted(heel) and list(toe) == sorted(toe, reverse=True)


@pytest.mark.parametrize(("beyond", "held"), [(0.9e-9, True), (1.1e-9, False)])
def test_a_billionth_beyond_either_end_is_rounding(beyond, held):
    one = space(count=(1, 1))
    for u in (-beyond, 1.0 + beyond):
        found = one.point(zoned(2.0 * math.exp(u * math.log(2.25))))
        assert (found is not None) is held
    wide = space("graded", (2, 2), level=(0.0, 1.0))
    for end in (-1e-9, 1.0 + 1e-9):  # just so much is too much
        assert wide.point(zoned(3.0, 2.0, family="graded", level_m=end)) is None


@pytest.mark.parametrize(("apart", "held"), [(0.9e-6, True), (1.1e-6, False)])
def test_radii_within_a_millionth_are_in_any_order(apart, held):
    rear = space(count=(2, 2), shape="rear_flat")
    assert (rear.point(zoned(3.0, 3.0 * (1 + apart))) is not None) is held
