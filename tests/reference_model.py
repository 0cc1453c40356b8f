"""Slow, brute-force, independent oracle for the tests of the blade-on-ice model.

Everything is evaluated on dense uniform grids with plain numpy/scipy; closed forms are avoided
wherever a dense numerical evaluation does the job.  SI units and radians.  x toe positive, origin at
mid arc length; pitch beta > 0 toe down; lean theta > 0 toward the inside of the turn.
Sources: hardness of ice, Poirier, Lozowski & Thompson (2011); melt film with conduction and
squeeze-out in the manner of van Leeuwen (2017); conduction into a half space, Carslaw & Jaeger;
squeeze film of a long strip, Reynolds; mean settlement of a loaded rectangle, Johnson (1985).
"""

from types import SimpleNamespace as NS

import numpy as np
from scipy.integrate import cumulative_trapezoid, solve_ivp
from scipy.optimize import brentq, minimize_scalar

G = 9.80665
FT = 0.3048
E_STAR = 9.3e9 / (1 - 0.33**2)
MU_SCUFF = 0.02
HANDBOOK = dict(eta=1.79e-3, rho_w=1000.0, L=3.34e5, k_i=2.2, alpha_i=1.15e-6)
VAN_LEEUWEN = dict(eta=1.737e-3, rho_w=1000.0, L=3.34e5, k_i=1.6, alpha_i=0.843e-6)


def hardness(T):
    """Ice hardness [Pa] at T [deg C], Poirier, Lozowski & Thompson (2011)."""
    return (14.7 - 0.6 * T) * 1e6


# ---------------------------------------------------------------- curve
def curvature(s, zones, blend, sweep=(0.02, 0.12)):
    """kappa at arc length s from the heel end; zones heel->toe are (length, radius)."""
    parts = [sweep, *zones, sweep] if sweep else list(zones)
    k = [1.0 / r for _, r in parts]
    edges = np.cumsum([length for length, _ in parts])[:-1]
    kappa = np.full_like(s, k[0])
    for i, b in enumerate(edges):  # a linear ramp centred on each boundary (a step for blend 0)
        ramp = np.clip((s - b) / blend + 0.5, 0, 1) if blend > 0 else (s >= b).astype(float)
        kappa += (k[i + 1] - k[i]) * ramp
    return kappa


def curve(zones, blend=0.02, sweep=(0.02, 0.12), level=0.0, npts=20001):
    """Blade curve on npts uniform x.  `level`: arc position from mid where phi = z = 0."""
    total = sum(length for length, _ in zones) + (2 * sweep[0] if sweep else 0.0)
    s = np.linspace(0, total, 4 * (npts - 1) + 1)
    phi = cumulative_trapezoid(curvature(s, zones, blend, sweep), s, initial=0)
    phi -= np.interp(total / 2 + level, s, phi)
    x = cumulative_trapezoid(np.cos(phi), s, initial=0)
    z = cumulative_trapezoid(np.sin(phi), s, initial=0)
    x -= np.interp(total / 2, s, x)
    z -= np.interp(total / 2 + level, s, z)
    xu = np.linspace(x[0], x[-1], npts)
    return NS(x=xu, z=np.interp(xu, x, z), phi=np.interp(xu, x, phi), s=np.interp(xu, x, s) - total / 2)


def single_radius(R, length=0.28, blend=0.02, sweep=(0.02, 0.12), **kw):
    return curve([(length - (2 * sweep[0] if sweep else 0.0), R)], blend, sweep, **kw)


# ---------------------------------------------------------------- section
def hollow(u, w, R_h):
    """Rise v(u) of the bottom above its edges; u from the inside edge.  R_h = inf is flat."""
    if np.isinf(R_h):
        return np.zeros_like(u)
    return np.sqrt(R_h**2 - (u - w / 2) ** 2) - np.sqrt(R_h**2 - (w / 2) ** 2)


def section(w, R_h, theta, npts=40001):
    """Dense section; h = height of each bottom point above the inside edge along the leg axis."""
    u = np.linspace(0, w, npts)
    v = hollow(u, w, R_h)
    h = v + u * np.tan(theta)
    rise = np.concatenate([[0], np.cumsum(np.maximum(np.diff(v), 0))])  # integral of max(v', 0)
    fall = np.concatenate([[0], np.cumsum(np.maximum(-np.diff(v), 0))])
    return NS(w=w, R_h=R_h, theta=theta, u=u, v=v, h=h, ic=int(np.argmax(h)), rise=rise, fall=fall)


def strips(sec, n):
    """Widths (left, right, merged) of the loaded strips; one strip of width w once the crown is in."""
    n = np.asarray(n, float)
    merged = n > sec.h[sec.ic]
    left = np.interp(n, sec.h[: sec.ic + 1], sec.u[: sec.ic + 1])
    right = sec.w - np.interp(n, sec.h[sec.ic :][::-1], sec.u[sec.ic :][::-1])
    out = n <= 0
    left = np.where(out, 0.0, np.where(merged, sec.w, left))
    right = np.where(out | merged, 0.0, right)
    return left, right, merged


def width(sec, n):
    left, right, _ = strips(sec, n)
    return left + right


def rises(sec, n):
    """r_L, r_R: rise of the loaded bottom that faces outward, inward motion."""
    left, right, _ = strips(sec, n)
    on = lambda c: np.interp(left, sec.u, c) + c[-1] - np.interp(sec.w - right, sec.u, c)
    return on(sec.rise), on(sec.fall)


def groove_area(sec, d):
    """Integral of the loaded width from 0 to d = true area of the immersed section."""
    return np.trapezoid(np.maximum(0, d - sec.h), sec.u)


# ---------------------------------------------------------------- contact
def rebound(arc, a_d, H):
    """Mean elastic rebound of a uniformly loaded arc x a_d rectangle, arc >> a_d."""
    return 2 / np.pi * (np.log(2 * arc / a_d) + 0.5) * H * a_d / E_STAR


def contact(cv, sec, H, d, beta, mode="sliding"):
    """Contact patch at depth d and pitch beta.  mode: sliding, no_rebound, standing."""
    g = cv.z * np.cos(beta) - cv.x * np.sin(beta)
    i0 = int(np.argmin(g))
    g = g - g[i0]
    X = cv.x * np.cos(beta) + cv.z * np.sin(beta)  # along the ice
    dX = np.gradient(X)
    n = d - g
    imm = n > 0
    a = width(sec, n)
    front = imm & (np.arange(len(g)) >= i0)
    e = 0.0
    p = H * np.where(imm if mode == "standing" else front, 1.0, 0.0)
    if mode == "sliding":
        a_d = float(width(sec, d))
        for _ in range(200):
            new = rebound(dX[p > 0].sum(), a_d, H)
            p = np.where(front, H, np.where(imm, H * np.maximum(0, 1 - g / new), 0.0))
            if abs(new - e) < 1e-9 * new:
                break
            e = new
        e = new
    N = (p * a * dX).sum()
    return NS(
        cv=cv,
        sec=sec,
        H=H,
        d=d,
        beta=beta,
        mode=mode,
        X=X,
        dX=dX,
        x=cv.x,
        g=g,
        n=n,
        a=a,
        p=p,
        imm=imm,
        front=front,
        i0=i0,
        x0=cv.x[i0],
        e=e,
        N=N,
        x_c=(p * a * cv.x * dX).sum() / N,
        loaded=dX[p > 0].sum(),
        immersed=dX[imm].sum(),
    )


def at_load(cv, sec, H, N, beta, mode="sliding"):
    f = lambda d: contact(cv, sec, H, d, beta, mode).N - N
    hi = 2e-5
    while f(hi) < 0:
        hi *= 1.5
    return contact(cv, sec, H, brentq(f, 1e-7, hi, xtol=1e-12, rtol=1e-9), beta, mode)


def at_load_line(cv, sec, H, N, x_line, mode="sliding"):
    """State that carries N with its centre of pressure at x_line."""
    f = lambda b: at_load(cv, sec, H, N, b, mode).x_c - x_line
    guess = float(np.interp(x_line, cv.x, cv.phi))
    w = 0.005
    lo, hi = guess - w, guess + w
    while f(lo) > 0:
        lo -= w
    while f(hi) < 0:
        hi += w
    return at_load(cv, sec, H, N, brentq(f, lo, hi, xtol=1e-9), mode)


# ---------------------------------------------------------------- drag
def ploughing(st):
    """Rut work per metre less what the rebounding rear gives back (p a dn along the rear)."""
    pa = st.p * st.a
    rear = np.arange(len(pa) - 1) < st.i0
    back = (0.5 * (pa[1:] + pa[:-1]) * np.diff(st.n))[rear & st.imm[1:] & st.imm[:-1]].sum()
    return st.H * groove_area(st.sec, st.d) - (back if st.mode != "no_rebound" else 0.0)


def film_start(V, dT, c):
    A, B, C = c["rho_w"] * c["L"] * V / 2, c["k_i"] * dT * np.sqrt(V / (np.pi * c["alpha_i"])), c["eta"] * V**2
    return brentq(lambda q: A * q * q + B * q - C, 0, 1)


def _march(b_of, p_of, V, dT, c, a, z, h0=None, clock0=0.0):
    """Film and shear from xi = a to z; clock0 = distance already run by this film at a."""
    q = film_start(V, dT, c)
    eps = 1e-7 if h0 is None else 0.0
    h0, F0 = (q * np.sqrt(eps), 2 * c["eta"] * V * b_of(a + eps) * np.sqrt(eps) / q) if h0 is None else (h0, 0.0)

    def rhs(xi, y):
        h, b = y[0], max(b_of(xi), 1e-12)
        melt = c["eta"] * V**2 / h - c["k_i"] * dT / np.sqrt(np.pi * c["alpha_i"] * (xi - a + clock0) / V)
        dh = melt / (c["rho_w"] * c["L"]) - p_of(xi) * h**3 / (c["eta"] * b**2)
        return [dh / V, c["eta"] * V / h * b_of(xi)]

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


def film_drag(st, V, T, const=HANDBOOK):
    """Shear of one melt film per strip, marched backward from the front of the loaded arc."""
    dT, sec, c = max(0.0, -T), st.sec, const
    xi, g = (st.X[-1] - st.X)[::-1].copy(), st.g[::-1].copy()  # a view would be copied at every look-up
    xi_0 = xi[len(xi) - 1 - st.i0]
    n_of = lambda q: st.d - np.interp(q, xi, g)
    left_of = lambda q: float(strips(sec, n_of(q))[0])
    right_of = lambda q: float(strips(sec, n_of(q))[1])

    def p_of(q):
        if st.mode == "standing" or q <= xi_0:
            return st.H
        return st.H * max(0.0, 1 - (st.d - n_of(q)) / st.e) if st.e > 0 else 0.0

    def entry(level):  # where n passes `level` ahead of the lowest point, else None
        m = (xi <= xi_0) & (st.d - g <= level)
        if st.d <= level or not m.any():
            return None if st.d <= level else 0.0
        return brentq(lambda q: n_of(q) - level, xi[m][-1], xi_0)

    a, z = entry(0.0), xi[(st.p > 0)[::-1]][-1]
    lead = _march(left_of, p_of, V, dT, c, a, z)
    F = lead.y[1, -1]
    ar = entry(sec.h[-1])
    if ar is not None and sec.ic < len(sec.u) - 1:  # the outside edge carries a strip of its own
        q = np.linspace(ar, z, 20001)[1:]
        on = strips(sec, n_of(q))[1] > 0
        runs = np.split(np.arange(len(q)), np.flatnonzero(np.diff(on.astype(int))) + 1)
        for r in (r for r in runs if on[r[0]] and len(r) > 1):
            if r[0] == 0:
                F += _march(right_of, p_of, V, dT, c, ar, q[r[-1]]).y[1, -1]
            else:  # the crown lifts off again: the merged film carries on in both strips
                b = q[r[0]]
                F += _march(right_of, p_of, V, dT, c, b, q[r[-1]], lead.sol(b)[0], b - a).y[1, -1]
    return F


# ---------------------------------------------------------------- sideways
def side_capacity(st, mu_s=MU_SCUFF):
    r_L, r_R = rises(st.sec, st.n)
    on = st.p > 0
    s_in = st.H * (np.maximum(st.n, 0) + r_R * on) + mu_s * st.p * st.a
    s_out = st.H * (np.maximum(0, st.n - st.sec.w * np.tan(st.sec.theta)) + r_L * on) + mu_s * st.p * st.a
    return s_in * st.imm, s_out * st.imm


def pivot(st, mu_s=MU_SCUFF, npiv=2001):
    """(toe-in, toe-out) least resisting moment over the pivot point, by trying npiv points."""
    s_in, s_out = (s[st.imm] for s in side_capacity(st, mu_s))
    x, dX = st.x[st.imm], st.dX[st.imm]

    def least(ahead, behind):
        return min((np.where(x > q, ahead, behind) * np.abs(x - q) * dX).sum() for q in np.linspace(x[0], x[-1], npiv))

    return least(s_in, s_out), least(s_out, s_in)


def hold_angle(st):
    r_L, _ = rises(st.sec, st.n)
    return np.arctan((st.p * r_L * st.dX).sum() / (st.p * st.a * st.dX).sum())


def swept_area(st, rho, psi0, nx=2401, nu=4001):
    """Area of the union of the immersed sections seen along a track of radius rho.

    Columns run along the leg axis.  A horizontal inward shift delta moves a section by
    -delta cos(theta) in u and leaves the penetration below the ice surface unchanged.
    """
    sec, t = st.sec, np.tan(st.sec.theta)
    xs = np.append(np.linspace(st.X[st.imm][0], st.X[st.imm][-1], nx), st.X[st.i0])
    n = np.interp(xs, st.X, st.n)
    off = -(psi0 * xs - xs**2 / (2 * rho)) * np.cos(sec.theta)  # outward, along u
    left, right, _ = strips(sec, n)
    reach = np.where(right > 0, sec.w, left)
    lo, hi = off.min(), (off + reach).max()
    cols = lo + (np.arange(nu) + 0.5) * (hi - lo) / nu
    best = np.zeros(nu)
    for xi_n, o in zip(n, off):
        u = cols - o
        k = (u >= 0) & (u <= sec.w)
        best[k] = np.maximum(best[k], xi_n - hollow(u[k], sec.w, sec.R_h) - u[k] * t)
    return best.sum() * (hi - lo) / nu


def least_swept_area(st, rho, nx=2401, nu=4001, scan=25):
    """Minimum over psi_0, tried through the point x_t = rho psi_0 where the blade is tangent."""
    xt = np.linspace(st.X[st.imm][0], st.X[st.imm][-1], scan)
    A = [swept_area(st, rho, q / rho, nx, nu) for q in xt]
    i = int(np.argmin(A))
    lo, hi = xt[max(i - 1, 0)], xt[min(i + 1, scan - 1)]
    r = minimize_scalar(
        lambda q: swept_area(st, rho, q / rho, nx, nu), bounds=(lo, hi), method="bounded", options=dict(xatol=1e-7)
    )
    tangent_at_lowest = swept_area(st, rho, st.X[st.i0] / rho, nx, nu)
    return min(r.fun, min(A), tangent_at_lowest)


def scrape(st, rho, **kw):
    return st.H * (least_swept_area(st, rho, **kw) - groove_area(st.sec, st.d))


def clean_radius(R, w, R_h, theta):
    """Tightest track that a single-radius edge runs without scrape."""
    gam = np.arcsin(w / (2 * R_h)) if np.isfinite(R_h) else 0.0
    return R * np.sin(theta + gam) / np.cos(gam)


# ---------------------------------------------------------------- balance
def r_eff(cv, sec, H, N, beta, mode="sliding", db=1e-3):
    """dx_c/dbeta of the loaded contact at fixed load, central difference."""
    return (at_load(cv, sec, H, N, beta + db, mode).x_c - at_load(cv, sec, H, N, beta - db, mode).x_c) / (2 * db)


def critical_stiffness(R_eff, M=77.6, m_s=2.4, b_h=0.85, a_h=0.15, c_s=0.08, g=G):
    """Least ankle stiffness that holds the body upright on the rocker; inf if none does."""
    A, B = g * (M * (R_eff - a_h) + m_s * (R_eff - c_s)), M * g * b_h
    return A * B / (A - B) if A > B else np.inf


def steady_turn(m, v, rho):
    """(lean, load in the blade plane)."""
    theta = np.arctan(v**2 / (G * rho))
    return theta, m * G / np.cos(theta)
