"""The same two bodies by two other roads: SciPy's DOP853 on equations of our own, and MuJoCo.

Only the force law of the contact is shared. Bodies, joint, guide, ankle and drag are written anew here, in minimal
coordinates (ankle x, ankle z, pitch, leg angle) for SciPy and as a slide-slide-hinge-hinge chain for MuJoCo.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.blade.steel import lowest
from sim.ice.contact import GAUSS, press
from sim.ice.drag import film_shear, ploughing
from sim.rolling import scenarios as rolling_scenarios
from sim.rolling.loop import ROLLED_FILM_STEPS
from sim.rolling.scenarios import roll
from sim.skater.movement import Scenario, program
from tests.cases import GRAVITY, steel_of

DAMPING = 15.0  # s/m, of the contact
LEANED = Scenario("leaned nudge", (0, 1), (-0.015, -0.015), (1.2, 1.2), (math.radians(30),) * 2, duration_s=0.6,
                  mode="free", impulse_ns=2.0, impulse_at_s=0.05)  # fmt: skip


class TwoBodies:
    """Forces on skate and body at a state (ankle x, ankle z, pitch, leg, and their rates), from the model's text."""

    def __init__(self, blade, ice, law, man, movement, asked):
        self.blade, self.ice, self.law, self.man, self.movement, self.asked = blade, ice, law, man, movement, asked
        self.guide = movement.guide_rate_rad_s  # critically damped
        lean = math.tan(movement.lean_rad[0])
        self.spin2 = (lean * GRAVITY / movement.speed_m_s) ** 2 if movement.mode == "free" else 0.0

    def wanted(self, name, time):
        return float(np.interp(time, self.asked.at, getattr(self.asked, name)))

    def places(self, q):
        """Centres of skate and body, blade origin (world x, z), and derivatives of the centres by pitch and leg."""
        x, z, beta, psi = q
        man, c, s = self.man, math.cos(beta), math.sin(beta)
        turn, spin = np.array([[c, s], [-s, c]]), np.array([[-s, c], [-c, -s]])  # pitch toe-down, and its derivative
        to_skate = np.array([man.skate_x_m - man.ankle_x_m, man.skate_height_m - man.ankle_height_m])
        to_origin = -np.array([man.ankle_x_m, man.ankle_height_m])
        ankle = np.array([x, z])
        up = man.body_height_m * np.array([math.sin(psi), math.cos(psi)])
        return (ankle + turn @ to_skate, ankle + up, ankle + turn @ to_origin,
                spin @ to_skate, man.body_height_m * np.array([math.cos(psi), -math.sin(psi)]))  # fmt: skip

    def forces(self, time, q, rate):
        """(force on skate, on body, couple on skate, on body (toe-down), load); couples about each centre."""
        man, beta, psi = self.man, q[2], q[3]
        skate, body, origin, by_beta, by_psi = self.places(q)
        v_skate, v_body = rate[:2] + by_beta * rate[2], rate[:2] + by_psi * rate[3]
        push = self.wanted("load", time) / man.mass_kg
        t = self.wanted("tan_lean", time)
        patch = press(self.blade, self.ice, self.law, t, beta, -origin[1] - lowest(self.blade, beta)[1], *GAUSS[8])
        touch = origin + np.array([patch.centre * math.cos(beta), -origin[1]])  # a point on the ice, z = 0
        arm = touch - skate
        sinking = -(v_skate[1] - rate[2] * arm[0])  # turning toe-down carries a point ahead downward
        load = patch.load * max(0.0, 1.0 + DAMPING * sinking)
        speed = self.movement.speed_m_s + (man.skate_mass_kg * v_skate[0] + man.body_mass_kg * v_body[0]) / man.mass_kg
        drag = 0.0
        if patch.load > 0:
            drag = ploughing(self.blade, self.ice, self.law, patch, *GAUSS[8])
            drag += film_shear(self.blade, self.ice, self.law, patch, speed, ROLLED_FILM_STEPS)
        ankle = man.ankle_stiffness * (self.wanted("rest", time) - (beta - psi))
        ankle += man.ankle_damping * (self.rest_rate(time) - (rate[2] - rate[3]))
        on_skate = np.array([-drag, load - man.skate_mass_kg * push])
        on_body = np.array([0.0, -man.body_mass_kg * push])
        # toe-down couple of the force (fx, fz) at an arm (ax, az): az fx - ax fz
        couple_skate = arm[1] * -drag - arm[0] * load + ankle
        couple_body = -ankle
        if self.movement.mode == "free":
            middle = (man.skate_mass_kg * skate[0] + man.body_mass_kg * body[0]) / man.mass_kg
            on_skate[0] += man.skate_mass_kg * self.spin2 * (skate[0] - middle)
            on_body[0] += man.body_mass_kg * self.spin2 * (body[0] - middle)
        else:
            spring = man.body_inertia * self.guide**2 * (self.wanted("leg", time) - psi)
            couple_body += spring + 2 * man.body_inertia * self.guide * (self.wanted("leg_rate", time) - rate[3])
        since = time - self.movement.impulse_at_s
        if self.movement.impulse_ns and 0 <= since <= self.movement.impulse_for_s:
            window = self.movement.impulse_for_s
            shove = self.movement.impulse_ns * math.pi / (2 * window) * math.sin(math.pi * since / window)
            on_body[0] += shove
            couple_body += shove * self.movement.impulse_above_m * math.cos(psi)
        return on_skate, on_body, couple_skate, couple_body, load

    def rest_rate(self, time):
        """The rate of the slack angle, where the program carries one."""
        return self.wanted("rest_rate", time) if hasattr(self.asked, "rest_rate") else 0.0

    def rates(self, time, state):
        """Newton and Euler in minimal coordinates: M q'' = Q - (centrifugal terms)."""
        man, q, rate = self.man, state[:4], state[4:]
        skate, body, _, by_beta, by_psi = self.places(q)
        on_skate, on_body, couple_skate, couple_body, _ = self.forces(time, q, rate)
        j_skate = np.array([[1, 0, by_beta[0], 0], [0, 1, by_beta[1], 0]])
        j_body = np.array([[1, 0, 0, by_psi[0]], [0, 1, 0, by_psi[1]]])
        ankle = q[:2]
        bend_skate, bend_body = -(skate - ankle) * rate[2] ** 2, -(body - ankle) * rate[3] ** 2
        mass = man.skate_mass_kg * j_skate.T @ j_skate + man.body_mass_kg * j_body.T @ j_body
        mass += np.diag([0, 0, man.skate_inertia, man.body_inertia])
        force = j_skate.T @ (on_skate - man.skate_mass_kg * bend_skate)
        force = force + j_body.T @ (on_body - man.body_mass_kg * bend_body)
        force += np.array([0, 0, couple_skate, couple_body])
        return np.concatenate([rate, np.linalg.solve(mass, force)])

    def start(self, run):
        """The state that the run started from: the pose of its first row, and the rates that it is under way with."""
        beta, psi, depth = run["pitch"][0], run["leg_angle"][0], run["depth"][0]
        origin_z = -depth - lowest(self.blade, beta)[1]
        man, c, s = self.man, math.cos(beta), math.sin(beta)
        ankle = [man.ankle_x_m * c + man.ankle_height_m * s, origin_z + man.ankle_height_m * c - man.ankle_x_m * s]
        under_way = self.blade, self.ice, self.law, man, self.movement, self.asked, DAMPING
        rise, pitching, leaning = rolling_scenarios.first_instant(*under_way)[2]
        up = ankle[1] - origin_z
        rate = np.array([up * pitching, rise - ankle[0] * pitching, pitching, leaning])
        _, _, _, by_beta, by_psi = self.places(np.array([*ankle, beta, psi]))
        drift = (
            rate[0] + (man.skate_mass_kg * by_beta[0] * pitching + man.body_mass_kg * by_psi[0] * leaning) / man.mass_kg
        )
        return np.array([*ankle, beta, psi, rate[0] - drift, *rate[1:]])


def by_dop853(model, run, tolerance=1e-9):
    """Pitch, leg and load at the rows of the run. Integrated between rows so that kinks of the program fall on ends."""
    state, out = model.start(run), []
    times = run["time"]
    for t0, t1 in itertools.pairwise(times):
        out.append([state[2], state[3], model.forces(t0, state[:4], state[4:])[4]])
        for a, b in ((t0, 0.5 * (t0 + t1)), (0.5 * (t0 + t1), t1)):  # the program is linear over half milliseconds
            state = solve_ivp(model.rates, (a, b), state, method="DOP853", rtol=tolerance, atol=1e-12).y[:, -1]
    out.append([state[2], state[3], model.forces(times[-1], state[:4], state[4:])[4]])
    return np.array(out).T


def by_mujoco(model, run, dt):
    """Pitch and leg at the rows of the run: a chain of two slides and two hinges, forces through xfrc_applied."""
    mujoco = pytest.importorskip("mujoco")
    man = model.man
    xml = f"""
    <mujoco>
      <option gravity="0 0 0" timestep="{dt}" integrator="Euler"><flag contact="disable" eulerdamp="disable"/></option>
      <worldbody>
        <body name="skate">
          <joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0"/>
          <inertial pos="{man.skate_x_m - man.ankle_x_m} 0 {man.skate_height_m - man.ankle_height_m}"
            mass="{man.skate_mass_kg}" diaginertia="{man.skate_inertia} {man.skate_inertia} {man.skate_inertia}"/>
          <body name="body">
            <joint type="hinge" axis="0 1 0"/>
            <inertial pos="0 0 {man.body_height_m}" mass="{man.body_mass_kg}"
              diaginertia="{man.body_inertia} {man.body_inertia} {man.body_inertia}"/>
          </body>
        </body>
      </worldbody>
    </mujoco>"""
    engine = mujoco.MjModel.from_xml_string(xml)
    data = mujoco.MjData(engine)
    first = model.start(run)
    data.qpos[:] = first[0], first[1], first[2], first[3] - first[2]
    data.qvel[:] = first[4], first[5], first[6], first[7] - first[6]
    stride, out = round((run["time"][1] - run["time"][0]) / dt), []
    for k in range(stride * (len(run["time"]) - 1) + 1):
        q = np.array([data.qpos[0], data.qpos[1], data.qpos[2], data.qpos[2] + data.qpos[3]])
        rate = np.array([data.qvel[0], data.qvel[1], data.qvel[2], data.qvel[2] + data.qvel[3]])
        on_skate, on_body, couple_skate, couple_body, load = model.forces(k * dt, q, rate)
        if k % stride == 0:
            out.append([q[2], q[3], load])
        data.xfrc_applied[1] = on_skate[0], 0, on_skate[1], 0, couple_skate, 0
        data.xfrc_applied[2] = on_body[0], 0, on_body[1], 0, couple_body, 0
        mujoco.mj_step(engine, data)
    return np.array(out).T


def cases(scenarios):
    return {
        "stride": scenarios["stride"],
        "stride as shipped": replace(scenarios["stride"], time_step_s=5e-4),
        "nudge": replace(scenarios["nudge"], duration_s=0.6, impulse_at_s=0.05),
        "leaned nudge": LEANED,
    }


def ours_and_model(blade, steel, ice, law, skater, movement, monkeypatch):
    """Our run with drag evaluated at every step, and the same two bodies written anew."""
    monkeypatch.setattr(rolling_scenarios, "_drag_interval", lambda scenario: 1e-9)
    asked = program(movement, skater, steel, ice, law)
    run = roll(blade, ice, law, skater, movement, asked, contact_damping=DAMPING)
    assert run.outcome == "finished"
    return run, TwoBodies(blade, ice, law, skater, movement, asked)


def gaps(run, other):
    """Greatest gap of pitch, leg and load over the peak of each (of its excursion, for a nudge)."""
    return {
        name: float(np.max(np.abs(run[name] - theirs)) / np.max(np.abs(theirs)))
        for name, theirs in zip(("pitch", "leg_angle", "load"), other)
    }


@pytest.mark.slow
@pytest.mark.parametrize("name", ["stride", "stride as shipped", "nudge", "leaned nudge"])
def test_against_dop853(steel, ice, law, skater, scenarios, name, monkeypatch):
    run, model = ours_and_model(steel, steel, ice, law, skater, cases(scenarios)[name], monkeypatch)
    gap = gaps(run, by_dop853(model, run))
    print(f"{name} against DOP853, of peak:", {k: f"{v:.1e}" for k, v in gap.items()})
    assert gap["pitch"] < 1e-3 and gap["leg_angle"] < 1e-3 and gap["load"] < 1e-3


@pytest.mark.slow
def test_zoned_blade_against_dop853(zoned, steel, ice, law, skater, scenarios, monkeypatch):
    run, model = ours_and_model(steel_of(zoned), steel, ice, law, skater, scenarios["stride"], monkeypatch)
    gap = gaps(run, by_dop853(model, run))
    print("zoned stride against DOP853, of peak:", {k: f"{v:.1e}" for k, v in gap.items()})
    assert max(gap.values()) < 1e-3


def test_touch_down_against_dop853(steel, ice, law, skater, scenarios, monkeypatch):
    """The first 25 ms of a stride: short enough for every run of the tests."""
    stride = scenarios["stride"]
    run, model = ours_and_model(steel, steel, ice, law, skater, stride, monkeypatch)
    run = replace(run, series=run.series[:26])
    gap = gaps(run, by_dop853(model, run))
    print("touch-down against DOP853, of peak:", {k: f"{v:.1e}" for k, v in gap.items()})
    assert max(gap.values()) < 1e-3


@pytest.mark.slow
@pytest.mark.parametrize("name", ["stride", "nudge", "leaned nudge"])
def test_against_mujoco(steel, ice, law, skater, scenarios, name, monkeypatch):
    run, model = ours_and_model(steel, steel, ice, law, skater, cases(scenarios)[name], monkeypatch)
    gap = gaps(run, by_mujoco(model, run, 1e-5))
    print(f"{name} against MuJoCo, of peak:", {k: f"{v:.1e}" for k, v in gap.items()})
    assert gap["pitch"] < 1e-3 and gap["leg_angle"] < 1e-3
