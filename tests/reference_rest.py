"""Slow, independent oracle for starts, stops, fast turns, edge changes and transfers; on top of `reference_model`.

Derived from mechanics, not from the code that it checks.  SI units and radians.  In the cross-section: e points up the
leg axis, leaned inward by th; u points outward across it.  e = (sin th, cos th) and u = (-cos th, sin th) in
(inward, up).

Start.  The ice pushes N e, of which N sin(th) lies across the blade, in the horizontal.  A blade turned by delta from
the travel gives N sin(th) sin(delta) of that ahead and takes D cos(delta) of its drag back.
Stop.  The blade moves outward in the horizontal, across itself: every face of the bottom advances (v' > -tan th), the
inside wall leaves the ice, and what lies behind x_0 meets ice as fresh as what lies ahead, hence standing contact.
Ice pushes N e and S inward across the leg, -u: up N cos(th) - S sin(th) = m g, inward N sin(th) + S cos(th) = m a.
Edge change.  A mass at h above a point that runs at v on a path of curvature k, leaned by th to the inside.  What the
ice gives runs through the mass, along the leg: h th'' = g sin(th) - a cos(th), a the sideways acceleration of the
mass.  It runs nearer to the centre than the blade by h sin(th) and turns at the same rate: a = v^2 k (1 - h k sin(th))
if v is the blade's speed (inner="blade", the default), v^2 k/(1 - h k sin(th)) if it is the speed of the mass
(inner="mass").  The first sketch had it run on the blade's path, a = v^2 k (inner=None), which lies between the two.
"""

from types import SimpleNamespace as NS

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from tests import reference_model as rm
from tests.reference_film import film_drag

DEG = np.pi / 180


def blade(zones, w=2.9e-3, hollow=12.7e-3, span=0.075, height=0.025, blend=0.02, sweep=(0.02, 0.12), npts=20001):
    """A candidate: its curve (zones heel to toe, without the sweeps), its section, its beam."""
    return NS(curve=rm.curve(zones, blend, sweep, npts=npts), w=w, R_h=hollow, beam=rm.beam(w, span, height))


def single(radius, length=0.28, **kw):
    """A runner of one radius, `length` with its sweeps of 20 mm."""
    return blade([(length - 0.04, radius)], **kw)


def skater(m=80.0, m_s=2.4, b_h=0.85, a_h=0.15, c_s=0.08, I_s=0.02, I_b=8.0, K=1500.0, q=0.9):
    """The shipped adult."""
    return NS(m=m, m_s=m_s, b_h=b_h, a_h=a_h, c_s=c_s, I_s=I_s, I_b=I_b, K=K, q=q, h=a_h + b_h)


def at(bl, lean, N, line, mode="sliding", T=-5.0, f=rm.FACTOR):
    """The whole law: bent runner on ice at T, N through `line`."""
    sec = rm.section(bl.w, bl.R_h, lean, npts=20001)
    return rm.at_load_line(bl.curve, sec, rm.hardness(T), N, line, mode, f, bl.beam)


def clean_radius(st):
    """Tightest clean path: each section further along must fit under the bottom face of the groove; inf if none does.

    The section at x runs outward by s = x^2 cos(th)/2 rho over a face h(s) that it must not cut: h(s) <= g(x).
    The widest x^2/2g takes the place of R (rise of the face at its edge: tan(th) + tan(gamma)).
    """
    if st.d > st.sec.w * np.tan(st.sec.theta):
        return np.inf
    return rm.clean_radius(rm.widest_radius(st), st.sec.w, st.sec.R_h, st.sec.theta)


# ---------------------------------------------------------------- start
def start(bl, sk, lean=40 * DEG, share=1.6, line=0.055, speed=2.0, delta=50 * DEG, T=-5.0, **kw):
    """Drag's share of the push ahead and hold angle of one push off a blade turned by delta."""
    st = at(bl, lean, share * sk.m * rm.G, line, T=T, **kw)
    drag = rm.ploughing(st) + film_drag(st, speed, T) + rm.rough_drag(st)
    ahead, back = st.N * np.sin(lean) * np.sin(delta), drag * np.cos(delta)
    return NS(loss=back / ahead, hold=rm.hold_angle(st), drag=drag, st=st)


# ---------------------------------------------------------------- stop
def outward(st, mu_s=rm.MU_SCUFF):
    """(S, bottom, wall, scuff) with which standing ice meets a blade that slides outward, across the leg axis, N."""
    r_L, _ = rm.rises(st.sec, st.n)
    bottom = st.H * (r_L * st.dX)[st.imm].sum()
    wall = st.H * (np.maximum(0, st.n - st.sec.w * np.tan(st.sec.theta)) * st.dX)[st.imm].sum()
    return bottom + wall + mu_s * st.N, bottom, wall, mu_s * st.N


def stop(bl, sk, lean=20 * DEG, line=0.0, mu_s=rm.MU_SCUFF, **kw):
    """Deceleration of a stop across the blade: N is whatever holds the skater up with the S that it brings about."""
    N = sk.m * rm.G / np.cos(lean)
    for _ in range(12):
        st = at(bl, lean, N, line, "standing", **kw)
        S = outward(st, mu_s)[0]
        up, inward = N * np.cos(lean) - S * np.sin(lean), N * np.sin(lean) + S * np.cos(lean)
        if abs(up / (sk.m * rm.G) - 1) < 1e-7:
            break
        N *= sk.m * rm.G / up
    return NS(deceleration=inward / sk.m, bite=np.arctan(S / N), N=N, S=S, st=st)


def across(bl, sk, lean=10 * DEG, share=0.3, line=0.0, mode="sliding", mu_s=rm.MU_SCUFF, **kw):
    """Moment that turns the blade toe-in about its held centre of pressure."""
    return rm.pivot_held(at(bl, lean, share * sk.m * rm.G, line, mode, **kw), mu_s)[0]


# ---------------------------------------------------------------- fast turn
def fast_turn(bl, sk, speed=8.0, rho=10.0, line=0.0, T=-5.0, scrape=True, **kw):
    """Drag by its parts, hold angle, time to react and clean margin of a steady turn."""
    lean, N = rm.steady_turn(sk.m, speed, rho)
    st = at(bl, lean, N, line, T=T, **kw)
    clean = clean_radius(st)
    parts = dict(plough=rm.ploughing(st), film=film_drag(st, speed, T), rough=rm.rough_drag(st))
    parts["scrape"] = rm.scrape(st, rho) if scrape else 0.0
    R_eff = rm.r_eff(bl.curve, st.sec, st.H, N, st.beta, "sliding")
    delay = rm.critical_delay(R_eff, sk.m - sk.m_s, sk.m_s, sk.b_h, sk.a_h, sk.c_s, sk.I_s, sk.I_b, sk.q, g=N / sk.m)
    return NS(drag=sum(parts.values()), parts=parts, hold=rm.hold_angle(st), R_eff=R_eff, delay=delay,
              margin=rho / clean, clean=clean, lean=lean, N=N, st=st)  # fmt: skip


# ---------------------------------------------------------------- edge change
def pull(k, th, v, h, inner="blade"):
    """Sideways acceleration of the mass toward the centre of a path of curvature k."""
    room = 1.0 if inner is None else 1 - h * k * np.sin(th)
    return v**2 * k * (room if inner == "blade" else 1 / room)


def needed(th, th2, v, h, inner="blade", g=rm.G, arm=None):
    """Curvature of the blade's path at lean th with th'' = th2: `pull` turned round; nan where no path does it.

    arm: what stands for h before th'', h of a mass without size.
    """
    A, s = (g * np.sin(th) - (arm or h) * th2) / (v**2 * np.cos(th)), h * np.sin(th)
    if inner == "blade":
        with np.errstate(invalid="ignore"):
            return 2 * A / (1 + np.sqrt(1 - 4 * s * A))
    return A / (1 + A * s) if inner == "mass" else A


def half_cosine_time(rho_c, th_0, v, h, inner="blade", g=rm.G, arm=None):
    """Time of th = th_0 cos(pi t/T) at whose most curved instant the path is rho_c; found by its own peak, not by form.

    Only |k| anywhere along the movement is looked at, so that where it peaks is an outcome.
    """
    th = th_0 * np.cos(np.pi * np.linspace(0.0, 1.0, 401))

    def peak(T):
        k = np.abs(needed(th, -((np.pi / T) ** 2) * th, v, h, inner, g, arm))
        return np.max(np.where(np.isnan(k), 1e9, k))

    slow = 1e4
    if peak(slow) >= 1 / rho_c:
        return np.inf
    return brentq(lambda T: peak(T) - 1 / rho_c, 1e-3, slow, xtol=1e-13, rtol=1e-12)


def roll(k, th_0, v, h, T, inner="blade", g=rm.G):
    """(t, th, th') of h th'' = g sin th - v^2 k(t, th) cos th from rest at th_0 over T."""

    def rhs(t, y):
        return [y[1], (g * np.sin(y[0]) - pull(k(t, y[0]), y[0], v, h, inner) * np.cos(y[0])) / h]

    s = solve_ivp(rhs, (0.0, T), [th_0, 0.0], method="DOP853", rtol=1e-11, atol=1e-12, max_step=T / 200)
    return s.t, s.y[0], s.y[1]


def full_lock_time(rho_c, th_0, v, h, inner="blade", g=rm.G):
    """Rest to rest from th_0 to -th_0 at |k| = 1/rho_c throughout: by symmetry twice the time to upright."""

    def rhs(t, y):
        return [y[1], (g * np.sin(y[0]) - pull(1 / rho_c, y[0], v, h, inner) * np.cos(y[0])) / h]

    if rhs(0, [th_0, 0])[1] >= 0:
        return np.inf
    upright = lambda t, y: y[0]
    upright.terminal = True
    s = solve_ivp(rhs, (0.0, 60.0), [th_0, 0.0], events=upright, rtol=1e-11, atol=1e-13)
    return 2 * s.t_events[0][0]


def edge_state(bl, sk, lean=15 * DEG, share=1.0, line=0.030, **kw):
    """Contact at the start of the change."""
    return at(bl, lean, share * sk.m * rm.G, line, **kw)


def stiff_push(T, sk, th_0, v, inner="blade"):
    """(angle of the ice's push outward of the leg axis, curvature) at the first instant of th = th_0 cos(pi t/T).

    A body with inertia I_b about its own centre: about the contact (m h^2 + I_b) th'' = m h (g sin(th) - a cos(th));
    the push is what accelerates its centre, m (a + h (sin th)'', g + h (cos th)'') in (inward, up), with th' = 0.
    """
    bend = th_0 * (np.pi / T) ** 2  # -th''
    sin, cos, h = np.sin(th_0), np.cos(th_0), sk.h
    a = ((h + sk.I_b / (sk.m * h)) * bend + rm.G * sin) / cos
    push = np.arctan2(a - h * cos * bend, rm.G + h * sin * bend)
    return push - th_0, needed(th_0, -bend, v, h, inner, arm=h + sk.I_b / (sk.m * h))


def stiff_times(rho_c, hold, sk, th_0, v, inner="blade"):
    """(steering, edge): shortest times of a body that rolls as one piece; both must hold, so the later counts."""
    steering = half_cosine_time(rho_c, th_0, v, sk.h, inner, arm=sk.h + sk.I_b / (sk.m * sk.h))
    tilt = lambda T: stiff_push(T, sk, th_0, v, inner)[0] - hold
    return steering, brentq(tilt, 1e-2, 1e4) if hold > 0 else np.inf


# ---------------------------------------------------------------- transfer
def transfer(bl, sk, lean=15 * DEG, lines=(0.045, -0.045), share=1.0, **kw):
    """(pitch, lean of the leg) from the heel line to the forefoot line; the ankle gives N dx/K, both the same way."""
    N = share * sk.m * rm.G
    fore, heel = (at(bl, lean, N, x, **kw).beta for x in lines)
    return fore - heel, fore - heel + N * (lines[0] - lines[1]) / sk.K
