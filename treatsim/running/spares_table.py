"""The table [spares] of a case: how long it runs, what is in store, what else wears out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from treatsim.case_text import Problems, read_record
from treatsim.constants import DAY
from treatsim.operations.parameters import Parameters, choice, quantity, record, reference

LAWS = ("hours", "breakage", "change", "day", "volume")
NEEDED = {
    "hours": ("life",),
    "breakage": ("life",),
    "change": ("of",),
    "day": ("number",),
    "volume": ("number",),
}


@record
class FilterStore(Parameters):
    """What is said of the elements of one filter."""

    pack: int = quantity("count", "elements in a pack", low=1, high=10_000, default=1)
    stock: int = quantity("count", "fresh elements in store", high=1_000_000, default=0)
    change: str = choice(
        ("both", "one"),
        "all elements side by side at once, or only the worst, which is simulated ten times slower",
        default="both",
    )
    longest_use: float | None = quantity(
        "duration", "time in water after which an element is changed", open_low=True, default=None
    )


@record
class Part(Parameters):
    """A part that is used up: a lamp, a sleeve, an O-ring, a reagent."""

    law: str = choice(
        LAWS,
        "what uses it up: hours burned, breakage (Poisson), each change of a filter, days, volume",
    )
    number: float = quantity(
        "factor",
        "parts in the unit; used at a change of an element, in a day, or for 1 m3",
        open_low=True,
        default=1.0,
    )
    life: float | None = quantity(
        "duration", "hours of its life, or the mean time between failures", open_low=True,
        default=None,
    )  # fmt: skip
    used: float = quantity("duration", "hours it has burned so far", default=0.0)
    of: str = reference("filter at whose change it is used", example="cartridges", default="")
    pack: int = quantity("count", "parts in a pack", low=1, high=10_000, default=1)
    stock: float = quantity("factor", "parts in store", default=0.0)

    def conflicts(self):
        """Ask for what the law needs."""
        given = {"life": self.life, "of": self.of, "number": self.number}
        return [f"{key} is missing: law {self.law} needs it" for key in NEEDED[self.law]
                if not given[key]]  # fmt: skip


@record
class SparesParameters(Parameters):
    """How long the unit runs, how far its filters can be trusted, what is in store."""

    running_time: float | None = quantity(
        "duration", "running time a day; left out, that of [people]", open_low=True, high=DAY,
        default=None,
    )  # fmt: skip
    start_month: int = quantity("count", "month of the first day, 1 to 12", low=1, high=12,
                                default=1)  # fmt: skip
    level: float = quantity(
        "fraction", "chance that nothing runs out, of all parts jointly", low=0.5, high=0.9999,
        default=0.95,
    )  # fmt: skip
    capacity_spread: float = quantity(
        "factor",
        "factor by which the true capacity of an element may be off, either way, in two cases of "
        "three; 1 is known, 1.5 to 2 a data sheet in natural silt",
        low=1,
        high=5,
    )
    exponent_spread: float = quantity(
        "factor", "standard deviation of the exponent of the blocking law", high=2, default=0.0
    )
    flow_needed: float | None = quantity(
        "flow", "product below which elements are changed", open_low=True, default=None
    )
    stop_above: float | None = quantity(
        "turbidity", "raw turbidity above which the unit stands still", open_low=True, default=None
    )
    warmest_water: float | None = quantity(
        "temperature", "water of the warmest month; left out, water.temperature all year",
        default=None,
    )  # fmt: skip
    coldest_water: float | None = quantity(
        "temperature", "water of the coldest month", default=None
    )
    coldest_month: int = quantity("count", "month of the coldest water, 1 to 12", low=1, high=12,
                                  default=1)  # fmt: skip
    lead_time: float = quantity("duration", "from an order to its delivery", default=0.0)
    handling_loss: float = quantity(
        "fraction", "share of elements spoiled in transport and handling, usually 5 %", high=0.5,
        small=True, default=0.0,
    )  # fmt: skip
    reading_error: float = quantity(
        "fraction", "standard error of a logged pressure drop", low=1e-3, high=0.5, small=True,
        default=0.05,
    )  # fmt: skip
    filters: dict | None = reference(
        "packs, stock, what is changed and time in water, by filter",
        example={"cartridges": {"pack": 6, "stock": 4, "change": "both", "longest_use": "1440 h"}},
        default=None,
    )
    parts: dict | None = reference(
        "other parts that are used up, by name",
        example={
            "lamp": {"law": "hours", "life": "9000 h", "used": "1200 h"},
            "o_rings": {"law": "change", "of": "cartridges", "number": 2},
        },
        default=None,
    )

    def conflicts(self):
        """Read the tables inside, and ask for both temperatures or none."""
        faults = [*read_all(FilterStore, self.filters or {}, "filters")[1]]
        faults += read_all(Part, self.parts or {}, "parts")[1]
        if (self.coldest_water is None) != (self.warmest_water is None):
            faults.append("coldest_water: coldest_water and warmest_water: give both or none")
        elif self.coldest_water and self.warmest_water and self.coldest_water > self.warmest_water:
            faults.append("coldest_water: above warmest_water")
        return faults

    def store(self, name: str) -> FilterStore:
        """Return what is said of a filter, else single elements and an empty store."""
        return read_all(FilterStore, self.filters or {}, "filters")[0].get(name, FilterStore())

    def all_parts(self) -> Mapping[str, Part]:
        """Return the other parts by name."""
        return read_all(Part, self.parts or {}, "parts")[0]


def read_all(record: type, tables: Any, where: str) -> tuple[dict[str, Any], list[str]]:
    """Return the records of a table of tables by name, and what is wrong with them."""
    if not isinstance(tables, Mapping):
        return {}, [f"{where}: a table of tables belongs here, such as {where}.NAME"]
    problems, found = Problems("", {}), {}
    for name, table in tables.items():
        if isinstance(table, Mapping):
            found[name] = read_record(record, table, f"{where}.{name}", problems)
        else:
            problems.add("", f"{where}.{name}: a table belongs here, such as {{ pack = 6 }}")
    return {name: row for name, row in found.items() if row}, problems.found
