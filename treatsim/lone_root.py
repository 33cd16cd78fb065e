"""The search for one root on floats: step for step what `numerics` does with arrays."""

from __future__ import annotations

import math

NAN, INFINITE = math.nan, math.inf


def _within(value: float, low: float, high: float) -> float:
    """Clip; what is no number stays so."""
    return value if math.isnan(value) else min(max(value, low), high)


def _over(top: float, bottom: float) -> float:
    """Divide as arrays do, by zero as well."""
    if bottom != 0:
        return top / bottom
    return NAN if top == 0 or math.isnan(top) else math.copysign(INFINITE, top)


class LoneSearch:
    """Bracket and iterate of one point; see `numerics.find_roots`."""

    def __init__(
        self, x: float, low: float, high: float, rtol: float, ftol: float, slope: float
    ) -> None:
        self.x, self.low, self.high, self.rtol, self.ftol = x, low, high, rtol, ftol
        self.slope = slope
        self.x_old = self.f_old = NAN
        self.best_x, self.best_f = x, INFINITE
        self.x_neg = self.x_pos = self.f_neg = self.f_pos = self.gap = NAN
        self.tried_low = self.tried_high = False
        self.stalls = self.gaps = 0
        self.patience = math.inf
        self.active, self.converged = True, False

    def take(self, f: float) -> None:
        """Digest the residual at `x`, then choose the next abscissa."""
        x, bad = self.x, math.isnan(f)
        self.gaps += bad
        if not bad and abs(f) < abs(self.best_f):
            self.best_x, self.best_f = x, f
        self.stalls = 0 if abs(f) <= 0.5 * abs(self.f_old) else self.stalls + 1
        if f < 0:
            self.x_neg, self.f_neg = x, f
        elif f > 0:
            self.x_pos, self.f_pos = x, f
        self.tried_low |= x <= self.low
        self.tried_high |= x >= self.high
        new = self._next(f, bad)
        a, b = self.x_neg, self.x_pos
        width = _over(abs(a - b), max(abs(a), abs(b))) if not math.isnan(a + b) else NAN
        met = abs(f) <= self.ftol or f == 0
        small = abs(new - x) <= self.rtol * abs(x)
        bracketed = not math.isnan(width)
        done = not bad and (met or width <= self.rtol or (small and bracketed))
        given_up = (self.tried_low and self.tried_high) or self.gaps >= self.patience
        lost = not bracketed and given_up and not done
        jumps = self._jumps(width)
        self.converged |= done and (met or not jumps)
        self.active = not (done or lost)
        if not bad:
            self.x_old, self.f_old = x, f
        self.x = new

    def _jumps(self, width: float) -> bool:
        gap = self.f_pos - self.f_neg
        jumps = width <= 10 * self.rtol and gap > 0.5 * self.gap
        if width > self.rtol**0.5:
            self.gap = gap
        return jumps

    def _next(self, f: float, bad: bool) -> float:
        x, a, b = self.x, self.x_neg, self.x_pos
        new = x - _over(f * (x - self.x_old), f - self.f_old)
        if math.isnan(a + b):
            return self._explore(f, new, bad)
        low, high = min(a, b), max(a, b)
        stalled = self.stalls >= 2
        if stalled or not math.isfinite(new) or new <= low or new >= high:
            new = 0.5 * (low + high)
        if stalled:
            self.stalls = 0
        return self._explore(f, new, bad) if bad else new

    def _explore(self, f: float, new: float, bad: bool) -> float:
        x, low, high = self.x, self.low, self.high
        other = low if self.tried_high else high
        if bad:
            return 0.5 * (x + self.best_x) if math.isfinite(self.best_f) else other
        span = max(abs(x), 1e-3 * (high - low))
        if math.isnan(self.x_old):
            known = x - _within(_over(f, self.slope), -0.5 * span, 0.5 * span)
            up = x + 0.1 * span
            step = up if up <= high else x - 0.1 * span
            step = known if math.isfinite(known) and known != x else step
        else:
            reach = max(2 * abs(x - self.x_old), 0.5 * span)
            step = _within(new, x - reach, x + reach)
            step = step if math.isfinite(step) else x + reach
        step = _within(step, low, high)
        return other if step == x or self.stalls >= 6 else step
