"""How uncertain an entry is: `{ value = "20 mg/L", spread = "8 mg/L", distribution = ... }`."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.normal import normal_score, normal_share

DISTRIBUTIONS = ("normal", "lognormal", "uniform")
MOST_CUT = 0.01  # of a distribution may lie where the input cannot be; there it is cut off
WIDEST_LOG = 3.0  # a factor of 20 for one standard deviation


@dataclass(frozen=True)
class Spread:
    """An input and how it is spread about its stated value; SI.

    normal: `scale` is the standard deviation about the value. lognormal: the value is the median,
    and one standard deviation above it the input is larger by `scale`. uniform: all between
    value - scale and value + scale alike.
    """

    address: str
    quantity: str
    value: float
    scale: float
    distribution: str
    low: float  # where the input can be
    high: float

    def quantiles(self, share) -> Array:
        """Return the values below which the shares lie; what cannot be is cut off.

        share : array_like, above 0 and below 1 [1] -> array of its shape [SI]
        """
        below, above = self.cut()
        return self._inverse(below + np.asarray(share, float) * (1 - below - above))

    def cut(self) -> tuple[float, float]:
        """Return the shares of the whole distribution below and above what can be. [1]"""
        return self._share(self.low), 1.0 - self._share(self.high)

    def _inverse(self, share) -> Array:
        if self.distribution == "uniform":
            found = self.value + self.scale * (2 * share - 1)
        elif self.distribution == "lognormal":
            found = self.value * np.exp(self._log_scale * normal_score(share))
        else:
            found = self.value + self.scale * normal_score(share)
        return np.clip(found, self.low, self.high)  # round-off at a bound

    def _share(self, at: float) -> float:
        if not np.isfinite(at):
            return float(at > 0)
        if self.distribution == "uniform":
            return float(np.clip((at - self.value + self.scale) / (2 * self.scale), 0, 1))
        if self.distribution == "lognormal":
            return float(normal_share(np.log(at / self.value) / self._log_scale)) if at > 0 else 0.0
        return float(normal_share((at - self.value) / self.scale))

    @property
    def _log_scale(self) -> float:
        return float(np.log1p(self.scale / self.value))


def read_spread(
    item: dataclasses.Field, raw: Mapping[str, Any], value: float, address: str = ""
) -> Spread | None:
    """Return the spread that an entry states, or None; RequestError says what is wrong with it."""
    meta = item.metadata
    shape = raw.get("distribution", "normal")
    if shape not in DISTRIBUTIONS:
        raise RequestError(f"distribution is one of {', '.join(DISTRIBUTIONS)}")
    if "spread" not in raw:
        if "distribution" in raw:
            raise RequestError("a distribution without its spread")
        return None
    if meta["kind"] in ("choice", "text", "count"):
        raise RequestError("a word or a count has no spread; sweep it")
    scale = _scale(raw["spread"], meta["kind"], value)
    if scale <= 0 or not np.isfinite(scale):
        raise RequestError("spread lies above 0")
    least, most = quantities.SIZES.get(meta["kind"], quantities.ANY_SIZE)
    low = max(meta["low"], least) if meta["open_low"] or meta["low"] == least else meta["low"]
    return Spread(address, meta["kind"], value, scale, shape, low, min(meta["high"], most))


def misfit(one: Spread) -> str:
    """Return why a value cannot be spread like this, or ""."""
    if one.distribution == "lognormal" and not 0 < one.scale <= one.value * np.expm1(WIDEST_LOG):
        return "a lognormal spread belongs to a value above 0, and is not beyond 19 of it"
    for share, side, end in zip(one.cut(), ("below", "above"), (one.low, one.high), strict=True):
        if share > MOST_CUT:
            bound = quantities.text(end, one.quantity)
            return (
                f"{share:.0%} of the spread lies {side} {bound}, where the input cannot be; "
                f"state less, or a distribution that ends there ({', '.join(DISTRIBUTIONS)})"
            )
    return ""


def _scale(raw: Any, kind: str, value: float) -> float:
    """Return a spread in SI: in the unit of the value, or in per cent of it."""
    plain = quantities.QUANTITIES[kind].si == "1" and kind not in quantities.BASED
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        if not plain:
            raise RequestError("spread is a bare number; write a text with its unit")
        return float(raw)
    if not isinstance(raw, str):
        raise RequestError('spread is a text with a unit, such as "8 mg/L", or "10 %" of the value')
    if raw.strip().endswith("%") and quantities.QUANTITIES[kind].shown != "%":
        return abs(value) * quantities.split(raw)[0] / 100
    if kind == "temperature":  # a difference: degrees, whatever their zero
        number, unit, _ = quantities.split(raw)
        return number * quantities.conversion(unit, "K")[0]
    return quantities.read(raw, kind)
