"""treatsim: process simulation of small mobile drinking-water treatment units.

Everything Python needs is a name of this package:

load, Case
    A case file, read.
Flowsheet, Water, FeedPump, Hose, UvReactor, RoVessel and every other unit operation
    The same written in Python, each value a text with its unit or a number in SI.
solve, judge, find, sweep
    One point with its limits; the limits of a Result; a setting that meets them; a table.
Result, Verdict, Point, Range, Optimum, Table, Amount, Amounts
    What these give: numbers with their unit by address, as text, HTML, pandas and xarray.
TreatsimError, RequestError, NoSolutionError
    What they raise: the request is wrong, or no operating point exists.

>>> import treatsim
>>> case = treatsim.load("cases/river.toml")
>>> point = treatsim.solve(case)
>>> point["product.flow"]
6.784 m3/h
>>> found = treatsim.find(case, "lift_pump.speed", "product.flow >= 6 m3/h")
>>> print(found.lines()[0])
lift_pump.speed: met from 68.7 to 120 % (now 74 %: met)
>>> treatsim.sweep(case, {"lift_pump.speed": "60 %:90 %:4"})["product.flow"]
[4.65, 6.197, 7.644, 9.036] m3/h
"""

from typing import TYPE_CHECKING

__version__ = "0.1.0"

# loaded on first use, so that the command line's help needs no numerical library
_HOMES = {
    "Amount": "treatsim.amounts",
    "Amounts": "treatsim.amounts",
    "Case": "treatsim.cases",
    "Flowsheet": "treatsim.building",
    "NoSolutionError": "treatsim.errors",
    "Optimum": "treatsim.studies.found",
    "Point": "treatsim.studies.point",
    "Range": "treatsim.studies.found",
    "RequestError": "treatsim.errors",
    "Result": "treatsim.flowsheet.result",
    "Table": "treatsim.studies.table",
    "TreatsimError": "treatsim.errors",
    "Verdict": "treatsim.safety.verdict",
    "Water": "treatsim.building",
    "find": "treatsim.studies.find",
    "judge": "treatsim.safety.verdict",
    "load": "treatsim.cases",
    "solve": "treatsim.studies.point",
    "sweep": "treatsim.studies.sweep",
    # the unit operations
    "BoosterPump": "treatsim.operations.booster_pump",
    "CalciteBed": "treatsim.operations.calcite_bed",
    "CartridgeFilter": "treatsim.operations.cartridge_filter",
    "ChemicalDosing": "treatsim.operations.chemical_dosing",
    "ChlorineDosing": "treatsim.operations.chlorine_dosing",
    "CombiningTee": "treatsim.operations.combining_tee",
    "DividingTee": "treatsim.operations.dividing_tee",
    "FeedPump": "treatsim.operations.feed_pump",
    "HighPressurePump": "treatsim.operations.high_pressure_pump",
    "Hose": "treatsim.operations.hose",
    "HydraulicMotor": "treatsim.operations.hydraulic_motor",
    "Intake": "treatsim.operations.intake",
    "PressureExchanger": "treatsim.operations.pressure_exchanger",
    "PressureIntensifier": "treatsim.operations.pressure_intensifier",
    "RoVessel": "treatsim.operations.ro_vessel",
    "SetPointUvReactor": "treatsim.operations.set_point_uv_reactor",
    "SettlingBasin": "treatsim.operations.settling_basin",
    "StorageTank": "treatsim.operations.storage_tank",
    "Strainer": "treatsim.operations.strainer",
    "ThrottleValve": "treatsim.operations.throttle_valve",
    "UvReactor": "treatsim.operations.uv_reactor",
    "ValidatedUvReactor": "treatsim.operations.validated_uv_reactor",
}
__all__ = ["__version__", *_HOMES]

if TYPE_CHECKING:
    from treatsim.amounts import Amount as Amount
    from treatsim.amounts import Amounts as Amounts
    from treatsim.building import Flowsheet as Flowsheet
    from treatsim.building import Water as Water
    from treatsim.cases import Case as Case
    from treatsim.cases import load as load
    from treatsim.errors import NoSolutionError as NoSolutionError
    from treatsim.errors import RequestError as RequestError
    from treatsim.errors import TreatsimError as TreatsimError
    from treatsim.flowsheet.result import Result as Result
    from treatsim.operations.booster_pump import BoosterPump as BoosterPump
    from treatsim.operations.calcite_bed import CalciteBed as CalciteBed
    from treatsim.operations.cartridge_filter import CartridgeFilter as CartridgeFilter
    from treatsim.operations.chemical_dosing import ChemicalDosing as ChemicalDosing
    from treatsim.operations.chlorine_dosing import ChlorineDosing as ChlorineDosing
    from treatsim.operations.combining_tee import CombiningTee as CombiningTee
    from treatsim.operations.dividing_tee import DividingTee as DividingTee
    from treatsim.operations.feed_pump import FeedPump as FeedPump
    from treatsim.operations.high_pressure_pump import HighPressurePump as HighPressurePump
    from treatsim.operations.hose import Hose as Hose
    from treatsim.operations.hydraulic_motor import HydraulicMotor as HydraulicMotor
    from treatsim.operations.intake import Intake as Intake
    from treatsim.operations.pressure_exchanger import PressureExchanger as PressureExchanger
    from treatsim.operations.pressure_intensifier import PressureIntensifier as PressureIntensifier
    from treatsim.operations.ro_vessel import RoVessel as RoVessel
    from treatsim.operations.set_point_uv_reactor import SetPointUvReactor as SetPointUvReactor
    from treatsim.operations.settling_basin import SettlingBasin as SettlingBasin
    from treatsim.operations.storage_tank import StorageTank as StorageTank
    from treatsim.operations.strainer import Strainer as Strainer
    from treatsim.operations.throttle_valve import ThrottleValve as ThrottleValve
    from treatsim.operations.uv_reactor import UvReactor as UvReactor
    from treatsim.operations.validated_uv_reactor import ValidatedUvReactor as ValidatedUvReactor
    from treatsim.safety.verdict import Verdict as Verdict
    from treatsim.safety.verdict import judge as judge
    from treatsim.studies.find import find as find
    from treatsim.studies.found import Optimum as Optimum
    from treatsim.studies.found import Range as Range
    from treatsim.studies.point import Point as Point
    from treatsim.studies.point import solve as solve
    from treatsim.studies.sweep import sweep as sweep
    from treatsim.studies.table import Table as Table


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module 'treatsim' has no attribute {name!r}")
    from importlib import import_module

    found = getattr(import_module(_HOMES[name]), name)
    globals()[name] = found  # looked up once
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
