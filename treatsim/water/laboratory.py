"""A laboratory's report of one water: every substance once, and the ions that follow from it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from treatsim.errors import RequestError
from treatsim.water.analysis import alkalinity, from_calcium_carbonate
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS
from treatsim.water.substances import SUBSTANCES, Reading, basis_of, nearest, read, substance

LARGEST_NUMBER = 1e15  # that is shown
SAME = 0.05  # relative; a sum and its parts, as two measurements of one water
CARBONATE_PH = 8.3  # below, alkalinity is hydrogen carbonate; common practice
SYMBOLS = {row.name: row.symbol for row in SUBSTANCES if row.symbol}


class Ions(NamedTuple):
    """What the chemistry takes of a report."""

    ions: dict[str, float]  # kg/m3 by symbol
    notes: tuple[str, ...]  # what was taken for granted


def read_report(table: Mapping[str, Any], where: str) -> dict[str, Reading]:
    """Read every entry of a report.

    Parameters
    ----------
    table : mapping
        Symbol or name -> text such as "210 mg/L as CaCO3". [-]
    where : str
        Key path of the table. [-]

    Returns
    -------
    dict
        Name of the substance -> Reading. [kg/m3]

    Validity
    --------
    RequestError with every fault: a name that is not known, an entry that is no text with a unit,
    a basis that is missing, one substance under two names.

    Source
    ------
    definition
    """
    found: dict[str, Reading] = {}
    spelled: dict[str, str] = {}
    faults = []
    for name, text in table.items():
        row = substance(name)
        if row is None:
            near = nearest(name)
            hint = basis_of(name) or (f'did you mean "{near}"?' if near else
                                       f"known: {', '.join(SYMBOLS)} and more")  # fmt: skip
            faults.append(f"{where}.{name} is not known; {hint}")
        elif row.name in found:
            faults.append(f"{where}.{name}: {where}.{spelled[row.name]} is the same; keep one")
        elif not isinstance(text, str):
            number = isinstance(text, float | int) and abs(text) < LARGEST_NUMBER
            shown = f" = {text}" if number else ""
            faults.append(
                f"{where}.{name}{shown}: a bare number; write a text with its unit, "
                'such as "120 mg/L"'
            )
        else:
            spelled[row.name] = name
            try:
                found[row.name] = read(row, text)
            except RequestError as error:
                faults += [f'{where}.{name} = "{text}": {line}' for line in error.problems]
    if faults:
        raise RequestError(faults)
    return found


def of_report(report: Mapping[str, Reading], ph) -> Ions:
    """Return the ions of a report; sums are shared out where the report allows it.

    Parameters
    ----------
    report : mapping
        Name of a substance -> Reading, from `read_report`. [kg/m3]
    ph : float or None
        Of the sample. [1]

    Returns
    -------
    Ions
        By symbol, with what was taken for granted. [kg/m3]

    Validity
    --------
    Below its limit of detection a substance counts as absent. Hardness needs calcium or magnesium
    beside it, and alkalinity a pH below `CARBONATE_PH` or its ions: RequestError otherwise, and
    where a sum and its parts differ by more than `SAME`.

    Source
    ------
    definition; common practice for alkalinity as hydrogen carbonate
    """
    ions = {
        SYMBOLS[name]: reading.value
        for name, reading in report.items()
        if name in SYMBOLS and not reading.below
    }
    absent = [name for name, reading in report.items() if name in SYMBOLS and reading.below]
    notes = []
    if absent:
        notes.append(f"below detection, and absent from the chemistry: {', '.join(absent)}")
    measured = {name: reading.value for name, reading in report.items() if not reading.below}
    if "hardness" in measured:
        notes += _hardness(measured["hardness"], ions)
    if "alkalinity" in measured:
        notes += _alkalinity(measured["alkalinity"], ions, ph)
    return Ions(ions, tuple(notes))


def _charge(ions: Mapping[str, float], *symbols: str) -> float:
    """Charge carried by some ions. [eq/m3]"""
    return sum(ions[s] / IONS[s].molar_mass * abs(IONS[s].charge) for s in symbols if s in ions)


def _agree(total: float, parts: float, words: str) -> None:
    """Refuse a sum that its parts contradict. [kg/m3 as CaCO3]"""
    if abs(total - parts) > SAME * total:
        raise RequestError(
            f"water.ions.{words} is reported as {total * 1e3:.4g} mg/L as CaCO3, and its parts "
            f"come to {parts * 1e3:.4g}: one of them is wrong"
        )


def _hardness(total: float, ions: dict[str, float]) -> list[str]:
    """Share out the hardness [kg/m3 as CaCO3] that calcium or magnesium leaves over."""
    parts = _charge(ions, "Ca", "Mg") * CALCIUM_CARBONATE_EQUIVALENT
    missing = [ion for ion in ("Ca", "Mg") if ion not in ions]
    if not missing:
        _agree(total, parts, "hardness")
        return []
    if len(missing) == 2:
        raise RequestError(
            "water.ions.hardness: a total does not say how much of it is calcium: give calcium or "
            'magnesium too, such as calcium = "150 mg/L as CaCO3"'
        )
    if parts > total * (1 + SAME):
        _agree(total, parts, "hardness")
    (ion,) = missing
    rest = from_calcium_carbonate(max(total - parts, 0.0), ion)
    ions[ion] = float(rest)
    return [f"{IONS[ion].name} {rest * 1e3:.3g} mg/L by hardness, the rest of it"]


def _alkalinity(total: float, ions: dict[str, float], ph) -> list[str]:
    """Take alkalinity [kg/m3 as CaCO3] as hydrogen carbonate where no ion is reported."""
    if "HCO3" in ions or "CO3" in ions:
        _agree(total, _charge(ions, "HCO3", "CO3") * CALCIUM_CARBONATE_EQUIVALENT, "alkalinity")
        return []
    if ph is None or float(ph) > CARBONATE_PH:
        raise RequestError(
            f"water.ions.alkalinity: above pH {CARBONATE_PH:g} part of it is carbonate: give "
            "hydrogen carbonate and carbonate"
        )
    ions["HCO3"] = alkalinity(total, "CaCO3") * IONS["HCO3"].molar_mass
    return [f"hydrogen carbonate {ions['HCO3'] * 1e3:.3g} mg/L by alkalinity, all of it"]
