"""The one place that talks to PHREEQC: text in, numbers out, one loaded engine per database."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from typing import NamedTuple

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import NoSolutionError

PITZER = "pitzer.dat"
ION_ASSOCIATION = "phreeqc.dat"

_LOCK = threading.Lock()  # an engine holds one state; calls release the interpreter lock


class Recipe(NamedTuple):
    """One solution as PHREEQC takes it. Molalities only: mg/L input fails in strong brines."""

    molality: Mapping[str, float]  # PHREEQC element -> mol per kg water ("Alkalinity" in eq)
    temperature: float  # K
    ph: float
    ph_from_charge: bool = False  # let the pH close the charge balance
    charge_ion: str = ""  # or let this element close it
    carbon_dioxide: float | None = None  # log10 of the CO2 fugacity in atm that C(4) must obey
    phases: Sequence[str] = ()  # minerals then brought to equilibrium, from an endless supply


def _package() -> Path:
    """Return the folder of phreeqpython, which is found, not imported: that costs 0.1 s."""
    package = find_spec("phreeqpython")
    if package is None or package.origin is None:
        raise NoSolutionError("phreeqpython is not installed: an ion analysis needs it")
    return Path(package.origin).parent


@cache
def _engine(database: str):
    """Return PHREEQC itself; the package around it loads a periodic table that is not asked."""
    spec = spec_from_file_location("viphreeqc", _package() / "viphreeqc.py")
    if spec is None or spec.loader is None:
        raise NoSolutionError("phreeqpython is not as expected: it has no viphreeqc.py")
    wrapper = module_from_spec(spec)
    spec.loader.exec_module(wrapper)
    engine = wrapper.VIPhreeqc()
    engine.load_database(_package() / "database" / database)
    return engine


@cache
def database_fingerprint(database: str) -> str:
    """Return a hash of a database's text, for keys of stored results.

    Parameters
    ----------
    database : str
        File name of a database that comes with phreeqpython. [-]

    Returns
    -------
    str
        Hexadecimal SHA-256.

    Validity
    --------
    Any file shipped with the package. Without the package NoSolutionError is raised.

    Source
    ------
    definition
    """
    return hashlib.sha256((_package() / "database" / database).read_bytes()).hexdigest()


def run(recipe: Recipe, outputs: Sequence[str], database: str = PITZER) -> list[float]:
    """Speciate one solution and return what is asked of it.

    Parameters
    ----------
    recipe : Recipe
        The solution. [molalities in mol per kg water, temperature in K]
    outputs : sequence of str
        PHREEQC expressions such as `SI("Calcite")` or `RHO`. [-]
    database : str
        `PITZER` or `ION_ASSOCIATION`. [-]

    Returns
    -------
    list of float, one per output
        Units are PHREEQC's own (mol/kg water, kg/L, log10 of activity or saturation ratio). The
        index of a phase that cannot form is about -99 there.

    Validity
    --------
    1 atm, liquid water; a solution that does not converge raises NoSolutionError with PHREEQC's own
    words. pitzer.dat knows no fluoride and no nitrate.

    Source
    ------
    parkhurst_appelo_2013
    """
    headings = " ".join(f"v{i}" for i in range(len(outputs)))
    program = (
        "SELECTED_OUTPUT 1\n -reset false\n -high_precision true\n"
        f"USER_PUNCH 1\n -headings {headings}\n -start\n10 PUNCH {', '.join(outputs)}\n -end\n"
    )
    with _LOCK:
        engine = _engine(database)
        try:
            engine.run_string(program + _solution_text(recipe) + "END\n")
        except Exception as error:  # the wrapper raises bare Exception
            raise NoSolutionError(_reason(recipe, str(error))) from error
        rows = engine.get_selected_output_array()
    return [float(value) for value in rows[-1]]


def _solution_text(recipe: Recipe) -> str:
    lines = [
        "SOLUTION 1",
        f" temp {recipe.temperature - ZERO_CELSIUS:.10g}",
        " units mol/kgw",
        f" pH {recipe.ph:.12g}{' charge' if recipe.ph_from_charge else ''}",
    ]
    for element, molality in recipe.molality.items():
        if element == "C(4)" and recipe.carbon_dioxide is not None:
            lines.append(f" C(4) {molality:.15g} CO2(g) {recipe.carbon_dioxide:.15g}")
        elif molality > 0:
            mark = " charge" if element == recipe.charge_ion else ""
            lines.append(f" {element} {molality:.15g}{mark}")
    if recipe.phases:
        lines.append("EQUILIBRIUM_PHASES 1")
        lines += [f" {phase} 0 10" for phase in recipe.phases]
    return "\n".join(lines) + "\n"


def _reason(recipe: Recipe, text: str) -> str:
    lines = [line.partition("ERROR:")[2] for line in text.splitlines() if "ERROR:" in line]
    words = "; ".join(" ".join(line.split()) for line in lines) or text
    return (
        f"PHREEQC found no equilibrium at {recipe.temperature - ZERO_CELSIUS:.1f} degC, pH "
        f"{recipe.ph:.2f}: {words[:300]}"
    )
