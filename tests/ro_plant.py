"""Small reverse-osmosis trains as case data, for the tests of units, flowsheets and errors."""

from __future__ import annotations

import ro_cases

from treatsim import cases
from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import at

CLASSES = {"B25": "brackish-2.5in", "B40": "brackish-4in", "S25": "seawater-2.5in",
           "S40": "seawater-4in"}  # fmt: skip
SITE = {"altitude": "0 m"}
SHARES = {"pump_efficiency": 0.80, "motor_efficiency": 0.85, "drive_efficiency": 0.95}
VALVE = {"kind": "throttle_valve"}


def salt(litre: float, celsius: float = 25.0) -> dict:
    """Return a sodium chloride water. [g/L]"""
    return {"kind": "sodium_chloride", "salinity": f"{litre!r} g/L",
            "temperature": f"{celsius!r} degC"}  # fmt: skip


def sea(kilogram: float, celsius: float = 25.0, **more) -> dict:
    """Return a sea water. [g/kg]"""
    return {"kind": "seawater", "salinity": f"{kilogram!r} g/kg",
            "temperature": f"{celsius!r} degC", **more}  # fmt: skip


def pump(flow=None, pressure=None, kind="high_pressure_pump", **more) -> dict:
    """Return a pump. [m3/h], [bar]"""
    given = {} if flow is None else {"flow": f"{float(flow)!r} m3/h"}
    given |= {} if pressure is None else {"outlet_pressure": f"{float(pressure)!r} bar"}
    return {"kind": kind, **given, **SHARES, **more}


def vessel(element="seawater-4in", elements=4, **more) -> dict:
    """Return a vessel of new elements."""
    return {"kind": "ro_vessel", "element": element, "elements_in_series": elements,
            "vessels_in_parallel": 1, "water_permeability_ratio": 1.0,
            "salt_permeability_ratio": 1.0, **more}  # fmt: skip


def case(water: dict, units: dict, links: list[str], holds=()) -> cases.Case:
    """Return a case of these tables."""
    data = {"title": "a train, invented", "site": SITE, "water": water, "units": units,
            "flowsheet": {"links": links}, "hold": list(holds)}  # fmt: skip
    return cases.interpret(data, "train.toml")


def simple(water: dict, flow, pressure, ro: dict, holds=()) -> Result:
    """Solve a pump, a vessel and a valve."""
    units = {"pump": pump(flow, pressure), "ro": ro, "valve": VALVE}
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    return case(water, units, links, holds).solve()


def number(result: Result, address: str) -> float:
    """Return one value, SI."""
    return float(at(result.value(address).value, 0))


def path(name: str) -> Result:
    """Solve a reference path; W14 gives the permeate and asks for the pressure."""
    row = ro_cases.CASES[name]
    marine = row.element.startswith("S")
    water = (sea if marine else salt)(row.salinity, float(row.celsius))
    hold = {"adjust": "pump.outlet_pressure", "until": "ro.permeate.flow", "equals": "0.50 m3/h"}
    holds = [hold] if name == "W14_bw7" else []
    pressure = 12.0 if holds else row.pressure
    ro = vessel(CLASSES[row.element], row.elements)
    return simple(water, row.flow, pressure, ro, holds)
