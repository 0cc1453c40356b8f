"""Slow, brute-force, independent oracle for the tests of the blade-on-ice model: curve, contact, sideways, balance.

The melt film is in `reference_film`.  Everything is evaluated on dense uniform grids with plain numpy/scipy; closed
forms are avoided wherever a dense numerical evaluation does the job.  SI units and radians.  x toe positive, origin
at mid arc length; pitch beta > 0 toe down; lean theta > 0 toward the inside of the turn.
Sources: hardness of ice, Poirier, Lozowski & Thompson (2011); mean settlement of a loaded rectangle, Johnson (1985);
rebound on the half-space, bending and reaction delay: forms derived here.
"""

from types import SimpleNamespace as NS

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.optimize import brentq, minimize_scalar

G = 9.80665
FT = 0.3048
E_STAR = 9.3e9 / (1 - 0.33**2)
MU_SCUFF = 0.02
MU_ROUGH = 0.0015
FACTOR = 0.85  # of the rebound height: some work is lost in the ice
KAPPA, REACH = 1.64, 4.7  # of the half-space form
FIRST_FORM = dict(mode="rectangle", f=1.0)  # the cruder rebound, as it was first written


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


def hardened(st, V, m):
    """Hardness [Pa] of ice pressed at the mean rate V d/l_f of a contact, with the power m, about 6.2 mm/s."""
    l_f = st.X[np.flatnonzero(st.imm)[-1]] - st.X[st.i0]
    return st.H * (V * st.d / (l_f * 6.2e-3)) ** m


# ---------------------------------------------------------------- bending
def beam(w, span=0.075, height=0.025, E=200e9):
    """A runner as a beam between two supports `span` apart; span 0 is rigid."""
    return NS(EI=E * w * height**3 / 12, span=span)


def flattening(b, N, arc, npts=801):
    """Curvature c [1/m] that a load spread evenly over an arc takes away, averaged evenly over that arc.

    A load P bends a beam by P max(0, s/4 - r/2)/EI at a distance r: summed here over every pair of places.
    """
    if b is None or b.span <= 0:
        return 0.0
    q = (np.arange(npts) + 0.5) / npts * arc
    return N / b.EI * np.maximum(0, b.span / 4 - np.abs(q[:, None] - q) / 2).mean()


def bent(cv, c, about):
    """The curve with its curvature lowered by c everywhere, unturned at `about`."""
    off = cv.x - about
    phi = np.arctan(np.tan(cv.phi) - c * off)
    return NS(x=cv.x, z=cv.z - c * off**2 / 2, phi=phi, s=cv.s)


# ---------------------------------------------------------------- contact
def rebound(arc, a_d, H):
    """Mean elastic rebound of a uniformly loaded arc x a_d rectangle, arc >> a_d."""
    return 2 / np.pi * (np.log(2 * arc / a_d) + 0.5) * H * a_d / E_STAR


def half_space_rebound(r, l_f, sec, d, H):
    """Rebound height of two loaded strips, r long behind the lowest point and l_f ahead, on a half-space."""
    q = REACH * r * l_f / (r + l_f)
    left, right, _ = (float(v) for v in strips(sec, d))
    F = lambda b: b**2 * np.log(1 + q / b) if b > 1e-12 else 0.0 * q
    w = sec.w
    each, across = F(left) + F(right), F(w) + F(w - left - right) - F(w - right) - F(w - left)
    return KAPPA * H / (np.pi * E_STAR) / (left + right) * (each + (across if right > 0 else 0.0))


def _behind(X, g, i0, d, sec, H, f):
    """(r, e) of the half-space form: where the gap first outgrows the rebound, or where the contact ends anyway."""
    r, gr = (X[i0] - X[:i0])[::-1].copy(), g[:i0][::-1].copy()  # from the lowest point to the heel
    ahead = np.flatnonzero(g[i0:] < d)[-1]
    k = i0 + ahead
    l_f = (X[k] if k == len(g) - 1 else np.interp(d, g[k : k + 2], X[k : k + 2])) - X[i0]
    e = lambda q: f * half_space_rebound(q, l_f, sec, d, H)
    over = np.flatnonzero(gr >= np.minimum(e(r), d))
    if not len(over):  # loaded up to the end of the runner
        return r[-1], e(r[-1])
    j = over[0]
    gap = lambda q: np.interp(q, r, gr)
    low = r[j - 1] if j else 1e-3 * r[0]
    end = brentq(lambda q: gap(q) - min(e(q), d), low, r[j], xtol=1e-14)
    return end, e(end)


def _share(mode, g, e):
    """Share of the hardness left behind the lowest point, where the gap is g."""
    y = g / e if e > 0 else np.full_like(g, np.inf)
    return np.maximum(0, 1 - (y if mode == "rectangle" else y**2))


def contact(cv, sec, H, d, beta, mode="sliding", f=FACTOR):
    """Contact patch at depth d and pitch beta.  mode: sliding (half-space), rectangle, no_rebound, standing."""
    g = cv.z * np.cos(beta) - cv.x * np.sin(beta)
    i0 = int(np.argmin(g))
    g = g - g[i0]
    X = cv.x * np.cos(beta) + cv.z * np.sin(beta)  # along the ice
    dX = np.gradient(X)
    n = d - g
    imm = n > 0
    a = width(sec, n)
    front = imm & (np.arange(len(g)) >= i0)
    e, p = 0.0, H * np.where(imm if mode == "standing" else front, 1.0, 0.0)
    if mode == "rectangle":
        a_d = float(width(sec, d))
        for _ in range(200):
            new = f * rebound(dX[p > 0].sum(), a_d, H)
            p = np.where(front, H, np.where(imm, H * _share(mode, g, new), 0.0))
            if abs(new - e) < 1e-9 * new:
                break
            e = new
        e = new
    if mode == "sliding" and i0 > 0:
        r, e = _behind(X, g, i0, d, sec, H, f)
        p = np.where(front, H, np.where(imm & (X >= X[i0] - r), H * _share(mode, g, e), 0.0))
    N = (p * a * dX).sum()
    return NS(
        cv=cv, sec=sec, H=H, d=d, beta=beta, mode=mode, X=X, dX=dX, x=cv.x, g=g, n=n, a=a, p=p, imm=imm, front=front,
        i0=i0, x0=cv.x[i0], e=e, N=N, x_c=(p * a * cv.x * dX).sum() / N, loaded=dX[p > 0].sum(),
        immersed=dX[imm].sum(), c=0.0,
    )  # fmt: skip


def _at_load(cv, sec, H, N, beta, mode, f):
    short = lambda d: contact(cv, sec, H, d, beta, mode, f).N - N
    hi = 2e-5
    while short(hi) < 0:
        hi *= 1.5
    return contact(cv, sec, H, brentq(short, 1e-7, hi, xtol=1e-12, rtol=1e-9), beta, mode, f)


def _with_bend(solve, b, N):
    """solve(c) of the c that the contact which it gives would bring about: c falls as the arc grows, so a root."""
    if b is None or b.span <= 0:
        return solve(0.0)
    most = flattening(b, N, 1e-4)
    c = brentq(lambda c: c - flattening(b, N, solve(c).loaded), 0.0, most, xtol=1e-7 * most, rtol=1e-7)
    st = solve(c)
    st.c = c
    return st


def at_load(cv, sec, H, N, beta, mode="sliding", f=FACTOR, b=None):
    """State that carries N at pitch beta; on a beam b, bent about its own centre of pressure."""

    def solve(c):
        st = _at_load(cv, sec, H, N, beta, mode, f)
        if c == 0:
            return st
        about = lambda q: _at_load(bent(cv, c, q), sec, H, N, beta, mode, f)
        q = brentq(lambda q: about(q).x_c - q, st.x_c - 0.03, st.x_c + 0.03, xtol=1e-7)
        return about(q)

    return _with_bend(solve, b, N)


def _at_load_line(cv, sec, H, N, x_line, mode, f):
    miss = lambda beta: _at_load(cv, sec, H, N, beta, mode, f).x_c - x_line
    guess = float(np.interp(x_line, cv.x, cv.phi))
    w = 0.002
    lo, hi = guess - w, guess + w
    while miss(lo) > 0:
        lo -= w
    while miss(hi) < 0:
        hi += w
    return _at_load(cv, sec, H, N, brentq(miss, lo, hi, xtol=1e-9), mode, f)


def at_load_line(cv, sec, H, N, x_line, mode="sliding", f=FACTOR, b=None):
    """State that carries N with its centre of pressure at x_line; on a beam b, bent about that line."""
    return _with_bend(lambda c: _at_load_line(bent(cv, c, x_line), sec, H, N, x_line, mode, f), b, N)


# ---------------------------------------------------------------- drag
def ploughing(st):
    """Rut work per metre less what the rebounding rear gives back (p a dn along the rear)."""
    pa = st.p * st.a
    rear = np.arange(len(pa) - 1) < st.i0
    back = (0.5 * (pa[1:] + pa[:-1]) * np.diff(st.n))[rear & st.imm[1:] & st.imm[:-1]].sum()
    return st.H * groove_area(st.sec, st.d) - (back if st.mode != "no_rebound" else 0.0)


def rough_drag(st, mu_r=MU_ROUGH):
    """Drag of ice that is not smooth: mu_r N, beside ploughing and film."""
    return mu_r * st.N


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


def pivot_held(st, mu_s=MU_SCUFF):
    """(toe-in, toe-out) moment that twists the blade about its centre of pressure, which something holds."""
    s_in, s_out = side_capacity(st, mu_s)
    arm, ahead = np.abs(st.x - st.x_c) * st.dX, st.x > st.x_c
    return (np.where(ahead, s_in, s_out) * arm).sum(), (np.where(ahead, s_out, s_in) * arm).sum()


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


def widest_radius(st):
    """Greatest x^2/(2 gap) over the immersed arc: the radius by which it asks for room in a turn."""
    k = np.arange(st.i0 - 50, st.i0 + 51)  # the lowest point between two grid points: vertex of a parabola
    fit = np.polynomial.Polynomial.fit(st.x[k], st.g[k], 2)
    low = fit.deriv().roots()[0]
    arm, gap = st.x - low, st.g - fit(low)
    seen = st.imm & (np.abs(arm) > 1e-3)
    return float(np.max(arm[seen] ** 2 / (2 * gap[seen])))


def clean_radius(R, w, R_h, theta):
    """Tightest track that a single-radius edge runs without scrape."""
    gam = np.arcsin(w / (2 * R_h)) if np.isfinite(R_h) else 0.0
    return R * np.sin(theta + gam) / np.cos(gam)


# ---------------------------------------------------------------- balance
def r_eff(cv, sec, H, N, beta, mode="sliding", f=FACTOR, b=None, db=1e-3):
    """dx_c/dbeta of the loaded contact at fixed load, central difference."""
    at = lambda more: at_load(cv, sec, H, N, beta + more, mode, f, b).x_c
    return (at(db) - at(-db)) / (2 * db)


def critical_stiffness(R_eff, M=77.6, m_s=2.4, b_h=0.85, a_h=0.15, c_s=0.08, g=G):
    """Least ankle stiffness that holds the body upright on the rocker; inf if none does."""
    A, B = g * (M * (R_eff - a_h) + m_s * (R_eff - c_s)), M * g * b_h
    return A * B / (A - B) if A > B else np.inf


def steady_turn(m, v, rho):
    """(lean, load in the blade plane)."""
    theta = np.arctan(v**2 / (G * rho))
    return theta, m * G / np.cos(theta)


def critical_delay(R_eff, M=77.6, m_s=2.4, b_h=0.85, a_h=0.15, c_s=0.08, I_s=0.02, I_b=8.0, q=0.9, g=G):
    """Longest delay [s] at which delayed PD control can hold the skater; inf where the skater stands without.

    Small motions in (skate pitch, body angle).  No grip along the ice, so that the common centre of mass stays above
    one place.  The ankle passively gives a share q of what gravity asks; the skate follows the body without inertia,
    which leaves one motion v with J = v.mass.v and k = -v.stiff.v.  J y'' = k y - P y(t - tau) - D y'(t - tau): at
    the edge of stability P = (J om^2 + k) cos(om tau), about k + om^2 (J - k tau^2/2), so that some P > k is stable
    only while tau < sqrt(2 J/k).
    """
    mu = m_s * M / (m_s + M)
    apart = np.array([a_h - c_s, b_h])  # of the two centres along the ice, per radian of each
    mass = mu * np.outer(apart, apart) + np.diag([I_s, I_b])
    rocker, topple = g * (M * (R_eff - a_h) + m_s * (R_eff - c_s)), M * g * b_h
    K = q * topple
    stiff = np.diag([rocker, -topple]) + K * np.array([[1, -1], [-1, 1]])
    v = np.array([-stiff[0, 1] / stiff[0, 0], 1.0])
    k = -v @ stiff @ v
    return np.sqrt(2 * (v @ mass @ v) / k) if k > 0 else np.inf
