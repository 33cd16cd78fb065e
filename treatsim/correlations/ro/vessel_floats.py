"""One point on floats: slopes and step of the march written out, without a loop or a call in them.

In Python a call, a loop or `min` costs as much as five products, so that the equations of the
kernel take twice as long by way of it. They stand here once more for that reason alone, in the same
order and under the same names; `tests/validation/test_ro_compiled.py` holds them to the kernel.
What does not fit (a reflection coefficient, polynomials of higher degree) goes by the kernel.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, sqrt

from treatsim.correlations.ro import vessel_kernel
from treatsim.correlations.ro.vessel_kernel import (
    FLOATS,
    LEAST_BETA,
    LOG_DRY,
    SALT_LEFT,
    TINY_FLUX,
    Problem,
)
from treatsim.correlations.ro.vessel_step import A2, A3, A4, A5, A6, ERROR, ORDER_5, estimated

(A21,), (A31, A32), (A41, A42, A43), (A51, A52, A53, A54) = A2, A3, A4, A5
A61, A62, A63, A64, A65 = A6
A71, A73, A74, A75, A76 = ORDER_5[0], *ORDER_5[2:]  # the second slope has no weight
E1, E3, E4, E5, E6, E7 = ERROR[0], *ERROR[2:]  # nor in the error


def slopes_of(p: Problem) -> Callable:
    """Return the slopes along the path of one point, as a function of the state.

    Parameters
    ----------
    p : Problem
        Of floats. [-]

    Returns
    -------
    callable
        Takes y, m, P, J, beta and whether to correct; gives what `vessel_kernel.slopes` does,
        the corrections only if asked. [-]

    Validity
    --------
    As `vessel_kernel.slopes`.

    Source
    ------
    film theory; definition
    """
    polynomials = vessel_kernel.padded(p)
    return _by_the_kernel(p) if polynomials is None else _written_out(p, polynomials)


def _by_the_kernel(p: Problem) -> Callable:
    def slopes(y, m, P, J, beta, correct=False):
        found = vessel_kernel.slopes(FLOATS, p, y, m, P, J, beta, correct)
        return found if correct else found[:5]

    return slopes


def _written_out(p: Problem, polynomials) -> Callable:
    A, B, w0, back, area, *_ = p
    top, b, e, least = p.fraction_max, p.transfer_exponent, p.friction_exponent, SALT_LEFT * p[2]
    (r0, r1, r2, r3, r4), (t0, t1, t2, t3), (f0, f1, f2, f3, f4), *others = polynomials
    (d0, d1, d2, d3), (s0, s1, s2), (o0, o1, o2, o3, o4, o5, o6), slope = others
    g0, g1, g2, g3, g4, g5, g6 = slope

    def slopes(y, m, P, J, beta, correct=False):
        y = LOG_DRY if y < LOG_DRY else 0.0 if y > 0.0 else y
        J, beta = TINY_FLUX if J < TINY_FLUX else J, LEAST_BETA if beta < LEAST_BETA else beta
        swell, left, leak, total = exp(-y), w0 - m, B * beta, J + B
        w = (least if left < least else left) * swell
        x = top if w > top else w
        resistance = exp((((r4 * x + r3) * x + r2) * x + r1) * x + r0 - b * y)
        film = exp(-J * resistance)
        rest = (total - leak) * film
        scale = 1 / (rest + leak)
        share = leak * scale
        q, w_m, w_p, rest = share - share * film, w * total * scale, w * share, rest * scale
        x_m, x_p = top if w_m > top else w_m, top if w_p > top else w_p
        rise_m, rise_p = (s2 * x_m + s1) * x_m + s0, (s2 * x_p + s1) * x_p + s0
        rho_p = ((d3 * x_p + d2) * x_p + d1) * x_p + d0 + rise_p * (w_p - x_p)
        dy, dm = -area * J * rho_p * swell, area * J * rho_p * w_p
        dP = -exp((((f4 * x + f3) * x + f2) * x + f1) * x + f0 + e * y)
        w_rel = dy * (share - 1)
        r_rel = (((t3 * x + t2) * x + t1) * x + t0) * (w * w_rel) - b * dy
        phi, psi = w_rel + rest * J * resistance * r_rel, rest * resistance - film * scale
        bend_p, bend_m = w_p * rise_p / rho_p, w_m * rise_m / (beta * rho_p)
        bend = bend_m - bend_p
        damping = 1 / (q * bend + bend_p + 1)
        b_x, b_J = bend * phi * damping, (bend * psi + bend_m / total) * damping
        z, v = sqrt(x_m), sqrt(x_p)
        grad_m = (((((g6 * z + g5) * z + g4) * z + g3) * z + g2) * z + g1) * z + g0
        grad_p = (((((g6 * v + g5) * v + g4) * v + g3) * v + g2) * v + g1) * v + g0
        steep_m, steep_p = grad_m * w_m, grad_p * w_p
        steep, steep_b = steep_m - steep_p, q * (steep_m - steep_p) + steep_p
        F_J = 1 + A * (steep * psi + steep_m / total - steep_b * b_J)
        dJ = A * (dP - phi * steep + steep_b * b_x) / F_J
        if not correct:
            return dy, dm, dP, dJ, beta * (b_x + b_J * dJ)
        rho_m = ((d3 * x_m + d2) * x_m + d1) * x_m + d0 + rise_m * (w_m - x_m)
        b_off = (rho_m / (beta * rho_p) - 1) * damping
        pi_m = x_m * ((((((o6 * z + o5) * z + o4) * z + o3) * z + o2) * z + o1) * z + o0)
        pi_p = x_p * ((((((o6 * v + o5) * v + o4) * v + o3) * v + o2) * v + o1) * v + o0)
        pi_m, pi_p = pi_m + grad_m * (w_m - x_m), pi_p + grad_p * (w_p - x_p)
        push = A * (P - back)
        J_off = -(J - push + A * (pi_m - pi_p - steep_b * b_off)) / F_J
        J_off = min(max(J_off, -0.8 * J), push)
        return dy, dm, dP, dJ, beta * (b_x + b_J * dJ), J_off, beta * (b_off + b_J * J_off)

    return slopes


def step(slopes: Callable, state, h: float, first):
    """Take one step of one point.

    Parameters
    ----------
    slopes : callable
        Of `slopes_of`. [-]
    state, first : tuple
        y, m, P, J, beta at the start, and their slopes there. [1], [kg/kg], [Pa], [m/s], [1]
    h : float
        Length of the step. [elements]

    Returns
    -------
    tuple
        State it leads to, slopes there, and relative error estimate. [-], [per element], [1]

    Validity
    --------
    As `vessel_march.march`.

    Source
    ------
    dormand_prince_1980
    """
    (y, m, P, J, b), (y1, m1, P1, J1, b1), a = state, first, A21 * h
    y2, m2, P2, J2, b2 = slopes(y + a * y1, m + a * m1, P + a * P1, J + a * J1, b + a * b1)
    y3, m3, P3, J3, b3 = slopes(
        y + h * (A31 * y1 + A32 * y2), m + h * (A31 * m1 + A32 * m2),
        P + h * (A31 * P1 + A32 * P2), J + h * (A31 * J1 + A32 * J2),
        b + h * (A31 * b1 + A32 * b2),
    )  # fmt: skip
    y4, m4, P4, J4, b4 = slopes(
        y + h * (A41 * y1 + A42 * y2 + A43 * y3), m + h * (A41 * m1 + A42 * m2 + A43 * m3),
        P + h * (A41 * P1 + A42 * P2 + A43 * P3), J + h * (A41 * J1 + A42 * J2 + A43 * J3),
        b + h * (A41 * b1 + A42 * b2 + A43 * b3),
    )  # fmt: skip
    y5, m5, P5, J5, b5 = slopes(
        y + h * (A51 * y1 + A52 * y2 + A53 * y3 + A54 * y4),
        m + h * (A51 * m1 + A52 * m2 + A53 * m3 + A54 * m4),
        P + h * (A51 * P1 + A52 * P2 + A53 * P3 + A54 * P4),
        J + h * (A51 * J1 + A52 * J2 + A53 * J3 + A54 * J4),
        b + h * (A51 * b1 + A52 * b2 + A53 * b3 + A54 * b4),
    )  # fmt: skip
    y6, m6, P6, J6, b6 = slopes(
        y + h * (A61 * y1 + A62 * y2 + A63 * y3 + A64 * y4 + A65 * y5),
        m + h * (A61 * m1 + A62 * m2 + A63 * m3 + A64 * m4 + A65 * m5),
        P + h * (A61 * P1 + A62 * P2 + A63 * P3 + A64 * P4 + A65 * P5),
        J + h * (A61 * J1 + A62 * J2 + A63 * J3 + A64 * J4 + A65 * J5),
        b + h * (A61 * b1 + A62 * b2 + A63 * b3 + A64 * b4 + A65 * b5),
    )  # fmt: skip
    old_y = y
    y += h * (A71 * y1 + A73 * y3 + A74 * y4 + A75 * y5 + A76 * y6)
    m += h * (A71 * m1 + A73 * m3 + A74 * m4 + A75 * m5 + A76 * m6)
    P += h * (A71 * P1 + A73 * P3 + A74 * P4 + A75 * P5 + A76 * P6)
    J += h * (A71 * J1 + A73 * J3 + A74 * J4 + A75 * J5 + A76 * J6)
    b += h * (A71 * b1 + A73 * b3 + A74 * b4 + A75 * b5 + A76 * b6)
    *last, J_off, b_off = y7, m7, P7, J7, b7, _, _ = slopes(y, m, P, J, b, True)
    error = (
        E1 * y1 + E3 * y3 + E4 * y4 + E5 * y5 + E6 * y6 + E7 * y7,
        E1 * m1 + E3 * m3 + E4 * m4 + E5 * m5 + E6 * m6 + E7 * m7,
        E1 * P1 + E3 * P3 + E4 * P4 + E5 * P5 + E6 * P6 + E7 * P7,
        E1 * J1 + E3 * J3 + E4 * J4 + E5 * J5 + E6 * J6 + E7 * J7,
        E1 * b1 + E3 * b3 + E4 * b4 + E5 * b5 + E6 * b6 + E7 * b7,
    )
    return (
        (y, m, P, J + J_off, b + b_off),
        last,
        estimated(FLOATS, h, error, (y, m, P, J, b), old_y),
    )
