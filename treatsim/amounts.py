"""Numbers that know their unit: what Python gets for an address.

An amount is in SI and reckons as a plain number; what arithmetic gives is plain too, for a product
of two amounts is an amount of something else. As text it carries the unit that people read.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin

from treatsim import quantities
from treatsim.errors import RequestError

SHOWN_ENTRIES = 6  # of many numbers as text


class Amount(float):
    """One number in SI with its unit.

    >>> flow = Amount(0.002, "flow")
    >>> print(flow)
    7.2 m3/h
    >>> flow.si, flow.unit, round(flow.to("L/s"), 9)
    (0.002, 'm3/s', 2.0)
    >>> f"{flow:.2f}", flow.text("us")
    ('7.20 m3/h', '31.7 gal/min')
    >>> flow * 3600  # plain, in SI
    7.2
    """

    __slots__ = ("quantity",)
    quantity: str

    def __new__(cls, value: float, quantity: str) -> Amount:
        """Make an amount of a quantity of `quantities.QUANTITIES`. value [SI]"""
        self = super().__new__(cls, value)
        self.quantity = quantity
        return self

    def __getnewargs__(self):
        return self.si, self.quantity

    @property
    def si(self) -> float:
        """The plain number, in SI."""
        return float(self)

    @property
    def unit(self) -> str:
        """Unit of the number itself, in SI; "1" without dimension."""
        return quantities.QUANTITIES[self.quantity].si

    def to(self, unit: str) -> float:
        """Return the plain number in another unit, such as "gal/min"."""
        return float(_converted(self.si, self.quantity, unit))

    def text(self, system: str = "si", digits: int = 4) -> str:
        """Return number and unit as people read them; `system` is "si" or "us"."""
        return quantities.text(self.si, self.quantity, system, digits)

    def __str__(self) -> str:
        return self.text()

    __repr__ = __str__

    def __format__(self, spec: str) -> str:
        if not spec:
            return str(self)
        number, unit = quantities.show(self.si, self.quantity)
        return f"{number:{spec}} {unit}".rstrip()  # a bare number would leave its unit open


class Amounts(NDArrayOperatorsMixin):
    """Numbers over operating points in SI, with their unit; NaN where a point has no answer.

    It takes the place of an array: `numpy.asarray`, arithmetic and the methods of an array give
    plain numbers in SI, one entry is an Amount, a slice is Amounts.

    >>> flow = Amounts([0.001, 0.002], "flow")
    >>> flow
    [3.6, 7.2] m3/h
    >>> flow[1], flow.max(), flow.unit
    (7.2 m3/h, np.float64(0.002), 'm3/s')
    """

    __slots__ = ("quantity", "si")

    def __init__(self, values, quantity: str) -> None:
        self.si = np.asarray(values, dtype=float)  # plain array, in SI
        self.quantity = quantity

    @property
    def unit(self) -> str:
        """Unit of the numbers themselves, in SI; "1" without dimension."""
        return quantities.QUANTITIES[self.quantity].si

    def to(self, unit: str) -> np.ndarray:
        """Return the plain numbers in another unit, such as "gal/min"."""
        return _converted(self.si, self.quantity, unit)

    def text(self, system: str = "si", digits: int = 4) -> str:
        """Return the numbers, the middle ones left out if they are many, and the unit."""
        numbers, unit = quantities.show(self.si, self.quantity, system)
        told = [f"{number:.{digits}g}" for number in np.ravel(numbers).tolist()]
        if len(told) > SHOWN_ENTRIES:
            told = [*told[: SHOWN_ENTRIES // 2], "...", *told[-SHOWN_ENTRIES // 2 :]]
        return f"[{', '.join(told)}] {unit}".rstrip()

    def __str__(self) -> str:
        return self.text()

    __repr__ = __str__

    def __len__(self) -> int:
        return len(self.si)

    def __iter__(self) -> Iterator[Amount]:
        return (Amount(value, self.quantity) for value in self.si.tolist())

    def __getitem__(self, index):
        found = self.si[index]
        return Amounts(found, self.quantity) if np.ndim(found) else Amount(found, self.quantity)

    def __array__(self, dtype=None, copy=None):
        return np.array(self.si, dtype=dtype, copy=copy)

    def __array_ufunc__(self, ufunc, method, *inputs, **options):
        plain = [i.si if isinstance(i, Amounts) else i for i in inputs]
        return getattr(ufunc, method)(*plain, **options)

    def __getattr__(self, name: str):
        if name.startswith("_") or name in Amounts.__slots__:
            raise AttributeError(name)
        return getattr(self.si, name)

    def __reduce__(self):
        return Amounts, (self.si, self.quantity)


def _converted(value, quantity: str, unit: str):
    kind = quantities.QUANTITIES[quantity]
    try:
        factor, offset = quantities.conversion(unit, kind.si)
    except RequestError as error:
        raise RequestError(
            f'"{unit}" is no unit of {kind.meaning}; for example "{kind.shown or 1}"'
        ) from error
    return (value - offset) / factor
