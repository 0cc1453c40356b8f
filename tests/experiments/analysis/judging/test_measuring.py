"""What to measure first: value of information against closed forms and two loops, and how often a case is settled."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from experiments.analysis.judging.measuring import (
    Group,
    Worth,
    first_to_measure,
    groups_of,
    noise_of_accuracy,
    noise_of_left,
    normal_scores,
    regressed,
    share_settled,
    terms,
    value_of_knowing,
    worth_of_each,
)
from experiments.analysis.judging.verdict import Evidence, verdict
from experiments.request.opinions import Measurement
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

phi, Phi = stats.norm.pdf, stats.norm.cdf


def normals(draws, columns, seed=1):
    """Standard normal columns of a scrambled net, as the draws of a verdict are."""
    cube = stats.qmc.Sobol(columns, rng=np.random.default_rng(seed)).random(draws)
    return stats.norm.ppf(np.clip(cube, 1e-9, 1 - 1e-9))


def against_leaving(net):
    return np.column_stack([np.zeros(len(net)), net])


# ---------------------------------------------------------------- value of information


@pytest.mark.parametrize(("a", "b", "c"), [(0.0, 1.0, 1.0), (0.5, 1.0, 3.0), (-0.3, 0.4, 1.0), (1.0, 0.1, 2.0)])
def test_the_value_of_a_linear_input_in_closed_form(a, b, c):
    """net = a + b z1 + c z2 against leaving at 0; knowing z1: E max(a + b z, 0) - max(a, 0), with
    E max(a + b z, 0) = a Phi(a/b) + b phi(a/b)."""
    z = normals(4096, 2)
    net = against_leaving(a + b * z[:, 0] + c * z[:, 1])
    by_hand = a * Phi(a / b) + b * phi(a / b) - max(a, 0)
    assert value_of_knowing(z[:, :1], net) == pytest.approx(by_hand, abs=0.03 * c * 0.4)
    whole = math.hypot(b, c)
    both = a * Phi(a / whole) + whole * phi(a / whole) - max(a, 0)
    assert value_of_knowing(z, net) == pytest.approx(both, abs=5e-3)


def test_what_decides_nothing_is_worth_nothing_and_nothing_is_worth_less():
    z = normals(1024, 2)
    net = against_leaving(0.02 + 0.1 * z[:, 0])
    assert value_of_knowing(z[:, 1:], net) < 1e-3
    assert value_of_knowing(z[:, :1], against_leaving(5 + 0.1 * z[:, 0])) == pytest.approx(0.0, abs=1e-12)


def bent(z):
    """Three options of two inputs to be known and one that is not: curved, crossed, none of it polynomial."""
    x, y, w = z.T
    first, second = np.sin(0.8 * x) + 0.4 * x * y + 0.8 * w, 0.1 + 0.5 * np.tanh(0.5 * (y - x)) - w
    return np.column_stack([np.zeros(len(z)), first, second])


def test_the_value_agrees_with_two_loops():
    """Outer loop: 120 x 120 Gauss points of the inputs that become known; inner: the rest, by its mean of 0."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(120)
    weights = weights / weights.sum()
    x, y = np.meshgrid(nodes, nodes)
    inner = bent(np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]))
    w = np.outer(weights, weights).ravel()
    two_loops = w @ inner.max(axis=1) - (w @ inner).max()
    z = normals(4096, 3)
    assert value_of_knowing(z[:, :2], bent(z)) == pytest.approx(two_loops, rel=0.04)
    known = value_of_knowing(z[:, :2], bent(z), lambda t: bent(np.column_stack([t, np.zeros(len(t))])))
    assert known == pytest.approx(two_loops, rel=0.02)


def test_two_loops_by_simulation():
    """The same by brute force: for each of 300 known (x, y), the mean net over 400 draws of the rest."""
    rng = np.random.default_rng(4)
    outer = rng.standard_normal((300, 2))
    inner = rng.standard_normal(400)
    nets = np.array([bent(np.column_stack([np.tile(o, (400, 1)), inner - inner.mean()])).mean(axis=0) for o in outer])
    all_draws = bent(rng.standard_normal((200_000, 3)))
    simulated = nets.max(axis=1).mean() - all_draws.mean(axis=0).max()
    spread = nets.max(axis=1).std() / math.sqrt(300)
    z = normals(512, 3)
    assert value_of_knowing(z[:, :2], bent(z)) == pytest.approx(simulated, abs=3 * spread)


def test_terms_are_powers_and_products():
    z = np.array([[2.0, 3.0, 5.0]])
    assert terms(z, False)[0].tolist() == [1, 2, 3, 5, 4, 9, 25, 8, 27, 125]
    assert sorted(terms(z, True)[0, 10:].tolist()) == [6, 10, 15]


def test_a_fit_gives_a_cubic_back_and_products_where_draws_allow():
    """1 + 3 x 2 + 1 = 8 coefficients: fewer than a fifth of 41 draws, not of 40."""
    rng = np.random.default_rng(2)

    def curve(z):
        return np.column_stack([1 + z[:, 0] - 2 * z[:, 1] ** 3 + z[:, 0] * z[:, 1], z[:, 0] ** 2])

    new = rng.standard_normal((30, 2))
    for draws, exact in ((41, True), (40, False)):
        z = rng.standard_normal((draws, 2))
        gap = np.abs(regressed(z, curve(z))(new) - curve(new)).max(axis=0)
        assert bool(gap[0] < 1e-9) is exact and gap[1] < 1e-9


def test_a_missing_output_is_refused():
    with pytest.raises(ValueError, match="leave those draws out"):
        regressed(np.zeros((3, 1)), np.array([[1.0], [math.nan], [2.0]]))


# ---------------------------------------------------------------- accuracy


def test_accuracy_is_taken_against_what_is_known_now():
    """3 mm against 10 mm; half of the doubt left: s/sqrt(1 + s^2) = 1/2 at s = 1/sqrt(3)."""
    assert noise_of_accuracy(3e-3, 10e-3) == pytest.approx(0.3)
    assert noise_of_left(0.5) == pytest.approx(1 / math.sqrt(3))
    for left in (0.1, 0.5, 0.9):
        s = noise_of_left(left)
        assert s / math.sqrt(1 + s**2) == pytest.approx(left)


def test_normal_scores_keep_the_order_and_are_standard_normal():
    samples = np.random.default_rng(1).exponential(3.0, 999)
    found = normal_scores(samples)
    assert (np.argsort(found) == np.argsort(samples)).all() and abs(found.mean()) < 1e-9
    assert found.std() == pytest.approx(1.0, abs=0.01) and found[np.argsort(samples)[499]] == pytest.approx(0.0)
    tied = normal_scores(np.array([1.0, 2.0, 2.0, 5.0]))
    assert tied[1] == tied[2] == pytest.approx(0.0)


# ---------------------------------------------------------------- settled


def decided(outputs):
    """Whether the verdict on blades of these scores is one."""
    count = outputs.shape[1]
    evidence = Evidence(outputs, np.full(count, 0.01), np.ones(count, bool), np.ones(count, bool))
    return verdict(evidence, OPINIONS).kind != "cannot_tell"


def share_by_quadrature(a, b, c, s, decides):
    """Of score = a + b z1 + c z2, z1 measured with noise s: after reading y the score is normal with mean a + b m,
    m = y/(1 + s^2), and variance b^2 s^2/(1 + s^2) + c^2; m itself is N(0, 1/(1 + s^2)). decides(mean, sd) -> bool."""
    sd = math.sqrt(b**2 * s**2 / (1 + s**2) + c**2)
    grid = np.linspace(-6, 6, 40001)
    told = [decides(a + b * m / math.sqrt(1 + s**2), sd) for m in grid]
    return integrate.trapezoid(phi(grid) * told, grid)


def rule(mean, sd, price=0.01):
    """The verdict of one blade whose score is normal: better = Phi(mean/sd), pays = Phi((mean - price)/sd)."""
    offered = mean - price > 0 and Phi(mean / sd) >= 0.7
    return offered or Phi((mean - price) / sd) <= 0.3


@pytest.mark.parametrize(("c", "s"), [(0.02, 0.3), (0.2, 0.3), (0.1, 2.0), (0.05, 1.0)])
def test_the_share_that_is_settled_in_closed_form(c, s):
    """A blade with a mean of 0.02 and a doubt of 0.1 from the input that is measured."""
    z = normals(1024, 2)
    scores = (0.02 + 0.1 * z[:, 0] + c * z[:, 1])[:, None]
    assert not decided(scores)
    by_hand = share_by_quadrature(0.02, 0.1, c, s, rule)
    group = Group("z1", z[:, :1], np.array([s]))
    assert share_settled(group, scores, decided, 3, outcomes=1000) == pytest.approx(by_hand, abs=0.05)
    few = np.mean([share_settled(group, scores, decided, seed) for seed in range(12)])
    assert few == pytest.approx(by_hand, abs=0.06), "48 outcomes are the same on average"


def test_a_residual_stays_with_its_draw():
    """Two blades that differ by nothing but what is measured: what they share must not part them."""
    z = normals(512, 2)
    shared = 5 * z[:, 1]
    outputs = np.column_stack([shared, shared + 0.1])
    group = Group("none", z[:, :1], np.array([0.1]))

    def always_apart(redrawn):
        assert redrawn[:, 1] - redrawn[:, 0] == pytest.approx(np.full(512, 0.1), abs=1e-9)
        return False

    assert share_settled(group, outputs, always_apart) == 0.0


def test_a_fit_of_ones_own_is_used_and_the_seed_alone_decides():
    z = normals(4096, 1)
    group = Group("own", z, np.array([0.5]), lambda given: given**5)
    outputs, seen = z**5 + 7.0, []

    def look(redrawn):
        seen.append(redrawn)
        return True

    assert share_settled(group, outputs, look, 1, outcomes=3) == 1.0
    again = len(seen)
    share_settled(group, outputs, look, 1, outcomes=3)
    assert again == 3 and all((a == b).all() for a, b in zip(seen[:3], seen[3:]))
    # the fifth root of what is left of the residual (7) is what is known of z: narrower than the draws
    roots = np.sign(seen[0] - 7) * np.abs(seen[0] - 7) ** 0.2
    assert roots.std() == pytest.approx(0.5 / math.sqrt(1.25), rel=0.04)


# ---------------------------------------------------------------- which is named


def test_the_one_that_settles_is_put_first_and_named_from_every_second_time():
    """The score hangs on the first input; the second is noise that nobody can measure away."""
    z = normals(512, 2)
    scores = (0.02 + 0.1 * z[:, 0] + 0.02 * z[:, 1])[:, None]
    groups = [Group("idle", z[:, 1:], np.array([0.1])), Group("telling", z[:, :1], np.array([0.1]))]
    found = worth_of_each(groups, scores, lambda s: against_leaving(s - 0.01), decided)
    assert [x.name for x in found] == ["telling", "idle"] and found[0].settles > 0.7 > 0.2 > found[1].settles
    for one, doubt in zip(found, (0.1, 0.02)):  # E max(a + b z, 0) - a, a = 0.01
        by_hand = 0.01 * Phi(0.01 / doubt) + doubt * phi(0.01 / doubt) - 0.01
        assert one.value == pytest.approx(by_hand, rel=0.02)
    assert first_to_measure(found, OPINIONS) is found[0]


def test_what_settles_nothing_is_ordered_by_its_value_and_a_fit_from_outside_may_be_off_by_a_constant():
    z = normals(512, 2)
    scores = (0.02 * z[:, 0] + 0.1 * z[:, 1])[:, None]
    groups = [Group("little", z[:, :1], np.array([0.1])), Group("much", z[:, 1:], np.array([0.1]))]
    found = worth_of_each(groups, scores, against_leaving, lambda _: False)
    assert [x.name for x in found] == ["much", "little"] and [x.settles for x in found] == [0.0, 0.0]
    true = value_of_knowing(z[:, 1:], against_leaving(scores), lambda t: against_leaving(0.1 * t))
    off = value_of_knowing(z[:, 1:], against_leaving(scores), lambda t: against_leaving(0.1 * t + 0.3))
    assert off == pytest.approx(true) and true == pytest.approx(0.1 * phi(0), rel=0.02)


@pytest.mark.parametrize(("settles", "named"), [(0.5, "a"), (0.49, None)])
def test_nothing_is_named_that_settles_less_than_half(settles, named):
    found = first_to_measure([Worth("a", 0.1, settles), Worth("b", 0.9, 0.3)], OPINIONS)
    assert (found and found.name) == named
    assert first_to_measure([], OPINIONS) is None
    ties = [Worth("low", 0.1, 0.6), Worth("high", 0.2, 0.6), Worth("seldom", 0.9, 0.55)]
    assert first_to_measure(ties, OPINIONS).name == "high"


# ---------------------------------------------------------------- from measurements that are named to groups


def test_named_measurements_become_groups_of_what_is_drawn():
    """Stance of 10 and 20 mm known to 3 mm; glide drag scatters by 4 % and is read to 2 %; hardness is not drawn."""
    z = normals(512, 3)
    columns = {"glide_line_shift": 0.010 * z[:, 0], "turn_line_shift": 0.020 * z[:, 1],
               "temperature_shift": np.zeros(512)}  # fmt: skip
    base = {"glide_drag_coefficient": 0.005 * np.exp(0.04 * z[:, 2])}
    wishes = np.zeros((512, 5)), lambda given: given
    found = {g.name: g for g in groups_of(OPINIONS.measurements, columns, base, wishes)}
    assert list(found) == ["ask_the_skater", "stance", "glide_downs"], "a temperature that is known is not measured"
    assert found["stance"].noise == pytest.approx([0.3, 0.15], rel=0.01) and found["stance"].z.shape == (512, 2)
    assert found["stance"].z[:, 1] == pytest.approx(normal_scores(z[:, 1]))
    assert found["glide_downs"].noise == pytest.approx([0.5], rel=0.01)
    asked = found["ask_the_skater"]
    assert asked.z is wishes[0] and asked.fit is wishes[1] and asked.noise == pytest.approx([1 / math.sqrt(3)] * 5)
    assert [g.name for g in groups_of(OPINIONS.measurements, columns, {})] == ["stance"]
    half = Measurement("half", ("glide_line_shift",), math.nan, 0.5, "")
    assert groups_of([half], columns, {})[0].noise == pytest.approx([1 / math.sqrt(3)])
