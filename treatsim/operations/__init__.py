"""Unit operations, one file each. The kind of a unit in a case file is its module's name."""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module

HELPERS = {
    "chlorine_jars",
    "declarations",
    "composed",
    "lamp_hours",
    "outcome",
    "parameters",
    "ro_element",
    "ro_limits",
    "ro_results",
    "settling_tests",
    "sheets",
    "silt_test",
    "unit",
    "uv_doses",
    "uv_reported",
    "uv_exposure",
    "uv_lamp",
    "uv_sensor",
    "uv_target",
}  # modules that are no kinds


@cache
def kinds() -> tuple[str, ...]:
    """Return the legal kinds."""
    return tuple(sorted(m.name for m in pkgutil.iter_modules(__path__) if m.name not in HELPERS))


@cache
def unit_class(kind: str):
    """Return the class of a kind, such as UvReactor for "uv_reactor"."""
    name = "".join(part.capitalize() for part in kind.split("_"))
    return getattr(import_module(f"treatsim.operations.{kind}"), name)


@cache
def parameters_class(kind: str):
    """Return the parameter record of a kind."""
    module = import_module(f"treatsim.operations.{kind}")
    return getattr(module, unit_class(kind).__name__ + "Parameters")
