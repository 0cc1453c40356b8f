"""Slow, independent oracle for the melt film under a blade, with the melting point of ice under pressure.

Each strip's film is marched with an implicit ODE solver.  SI units; temperatures in deg C.  Sources: melting of ice Ih,
IAPWS R14-08(2011); film with conduction and squeeze-out in the manner of van Leeuwen (2017); conduction into a half
space, Carslaw & Jaeger; squeeze film of a long strip, Reynolds.
"""

from types import SimpleNamespace as NS

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from tests.reference_model import _share, strips

HANDBOOK = dict(eta=1.79e-3, rho_w=1000.0, L=3.34e5, k_i=2.2, alpha_i=1.15e-6)
VAN_LEEUWEN = dict(eta=1.737e-3, rho_w=1000.0, L=3.34e5, k_i=1.6, alpha_i=0.843e-6)
SINK = 15e3
PLAIN = dict(melting=False, sink=0.0)  # the film as it was first written: melts at 0 deg C, no heat into the steel


def melting_pressure(T):
    """Pressure [Pa] at which ice Ih melts at T [deg C], 251.165 to 273.16 K: IAPWS R14-08(2011), equation 1."""
    theta = (np.asarray(T, float) + 273.15) / 273.16
    terms = ((0.119539337e7, 3.0), (0.808183159e5, 25.75), (0.333826860e4, 103.75))
    return 611.657 * (1 + sum(a * (1 - theta**b) for a, b in terms))


def _melting_table(points=1201):
    p = np.linspace(611.657, 60e6, points)
    return p, np.array([brentq(lambda T, q=q: float(melting_pressure(T)) - q, -8.0, 0.0101, xtol=1e-12) for q in p])


_P, _T = _melting_table()


def melting_point(p):
    """Temperature [deg C] at which ice melts under p [Pa]: the equation above turned round by a root finder."""
    return np.interp(p, _P, _T)


def film_law(T, const=HANDBOOK, melting=True, sink=SINK):
    """What one film obeys on ice at T [deg C]: constants, K to melting under a pressure, heat into the steel."""
    return NS(**const, dT=lambda p: (melting_point(p) if melting else 0.0) - T, sink=sink)


def film_start(V, law, H):
    """c of h = c sqrt(x), with which a film begins under the hardness."""
    A, B = law.rho_w * law.L * V / 2, law.k_i * law.dT(H) * np.sqrt(V / (np.pi * law.alpha_i))
    return brentq(lambda q: A * q * q + B * q - law.eta * V**2, 0, 1)


def march(b_of, p_of, V, law, a, z, h0=None, clock0=0.0):
    """Film and shear from xi = a to z; clock0 = distance already run by this film at a."""
    q = film_start(V, law, p_of(a))
    eps = 1e-7 if h0 is None else 0.0
    h0, F0 = (q * np.sqrt(eps), 2 * law.eta * V * b_of(a + eps) * np.sqrt(eps) / q) if h0 is None else (h0, 0.0)

    def rhs(xi, y):
        h, b, p = y[0], max(b_of(xi), 1e-12), p_of(xi)
        chill = law.k_i * law.dT(p) / np.sqrt(np.pi * law.alpha_i * (xi - a + clock0) / V)
        dh = (law.eta * V**2 / h - chill - law.sink) / (law.rho_w * law.L) - p * h**3 / (law.eta * b**2)
        return [dh / V, law.eta * V / h * b_of(xi)]

    # the squeeze term is stiff where the strip is narrow, hence an implicit method
    return solve_ivp(
        rhs,
        (a + eps, z),
        [h0, F0],
        method="Radau",
        rtol=1e-7,
        atol=[1e-13, 1e-10],
        max_step=max((z - a) / 300, 1e-9),
        dense_output=True,
        first_step=min(1e-8, (z - a) / 10),
    )


def along(st):
    """(n, p) as functions of the distance behind the toe end, and that distance of the lowest point."""
    xi, g = (st.X[-1] - st.X)[::-1].copy(), st.g[::-1].copy()  # a view would be copied at every look-up
    xi_0 = xi[len(xi) - 1 - st.i0]
    g_of = lambda q: float(np.interp(q, xi, g))

    def p_of(q):
        if st.mode == "standing" or q <= xi_0:
            return st.H
        return st.H * float(_share(st.mode, np.array(g_of(q)), st.e)) if st.e > 0 else 0.0

    return lambda q: st.d - np.interp(q, xi, g), p_of, xi_0


def film_drag(st, V, T, const=HANDBOOK, melting=True, sink=SINK):
    """Shear of one melt film per strip, marched backward from the front of the loaded arc."""
    law, sec = film_law(T, const, melting, sink), st.sec
    xi = (st.X[-1] - st.X)[::-1]
    n_of, p_of, xi_0 = along(st)
    left_of = lambda q: float(strips(sec, n_of(q))[0])
    right_of = lambda q: float(strips(sec, n_of(q))[1])

    def entry(level):  # where n passes `level` ahead of the lowest point, else None
        m = (xi <= xi_0) & (n_of(xi) <= level)
        if st.d <= level or not m.any():
            return None if st.d <= level else 0.0
        return brentq(lambda q: n_of(q) - level, xi[m][-1], xi_0)

    a, z = entry(0.0), xi[(st.p > 0)[::-1]][-1]
    lead = march(left_of, p_of, V, law, a, z)
    F = lead.y[1, -1]
    ar = entry(sec.h[-1])
    if ar is not None and sec.ic < len(sec.u) - 1:  # the outside edge carries a strip of its own
        q = np.linspace(ar, z, 20001)[1:]
        on = strips(sec, n_of(q))[1] > 0
        runs = np.split(np.arange(len(q)), np.flatnonzero(np.diff(on.astype(int))) + 1)
        for r in (r for r in runs if on[r[0]] and len(r) > 1):
            if r[0] == 0:
                F += march(right_of, p_of, V, law, ar, q[r[-1]]).y[1, -1]
            else:  # the crown lifts off again: the merged film carries on in both strips
                b = q[r[0]]
                F += march(right_of, p_of, V, law, b, q[r[-1]], lead.sol(b)[0], b - a).y[1, -1]
    return F
