"""treatsim: process simulation of small mobile drinking-water treatment units.

From Python:

    import treatsim
    case = treatsim.load("cases/river.toml")
    print(treatsim.solve(case).text("uv.dose_credited"))
    print(treatsim.find(case, "lift_pump.speed", "uv.dose_credited >= 12 mJ/cm2").lines())
    treatsim.sweep(case, {"lift_pump.speed": "50 %:100 %:41"}).to_pandas()
"""

from typing import TYPE_CHECKING

__version__ = "0.1.0"
__all__ = ["__version__", "find", "load", "solve", "sweep"]

# loaded on first use, so that the command line's help needs no numerical library
_HOMES = {
    "load": "treatsim.cases",
    "solve": "treatsim.studies.point",
    "sweep": "treatsim.studies.sweep",
    "find": "treatsim.studies.find",
}

if TYPE_CHECKING:
    from treatsim.cases import load
    from treatsim.studies.find import find
    from treatsim.studies.point import solve
    from treatsim.studies.sweep import sweep


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module 'treatsim' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
