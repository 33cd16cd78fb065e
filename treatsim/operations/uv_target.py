"""What a reactor is asked for, and what nobody could show it to give."""

from __future__ import annotations

import difflib
from typing import Any

from treatsim import quantities
from treatsim.correlations.uv.dose_table import DOSE_TABLE, LOG_CREDITS
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.errors import RequestError

KEYS = ("organism", "log", "dose")
ASKED = {"organism": "cryptosporidium", "log": 3.0}
EXAMPLE = '{ organism = "cryptosporidium", log = 3.0 }'
DOSE_EXAMPLE = '{ organism = "ms2", dose = "40 mJ/cm2" }'
# organism whose dose response stands for a class of the dose table
STAND_INS = {"giardia": "cryptosporidium", "virus": "adenovirus_40"}
TARGETED = tuple(dict.fromkeys((*ORGANISMS, *STAND_INS)))


def stand_in(name: str) -> str:
    """Return the organism whose dose response stands for a class, or the organism itself."""
    return STAND_INS.get(name, name)


def credited_organism(target) -> str:
    """Return the organism whose dose is asked for; without a target, the strictest protozoan."""
    return stand_in((target or {}).get("organism", "cryptosporidium"))


def largest_log(name: str) -> float:
    """Return the largest reduction that the dose table of a class, or an organism's data, tells."""
    return LOG_CREDITS[-1] if name in DOSE_TABLE else ORGANISMS[name].measured_log


def largest_dose(name: str) -> float:
    """Return the dose of `largest_log`: above it, nothing was tabulated or measured. [J/m2]"""
    if name in DOSE_TABLE:
        return DOSE_TABLE[name][-1]
    return float(ORGANISMS[name].response.dose_for(largest_log(name)))


def target_faults(target: Any) -> list[str]:
    """Return what is wrong with a target table."""
    if target is None:
        return []
    known = ", ".join(TARGETED)
    if not isinstance(target, dict) or "organism" not in target:
        return [f"target: a table such as {EXAMPLE} or {DOSE_EXAMPLE}; known: {known}"]
    faults = [
        f"target.{key}: no such key; known: {', '.join(KEYS)}" for key in target if key not in KEYS
    ]
    name = target["organism"]
    if not isinstance(name, str) or name not in TARGETED:
        if not isinstance(name, str):
            return [*faults, f"target.organism = {str(name)[:60]}: one name; known: {known}"]
        near = [known for known in TARGETED if name and known.startswith(name.lower())]
        near = near or difflib.get_close_matches(name[:60], TARGETED, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        return [*faults, f'target.organism = "{name[:60]}": known: {known}{hint}']
    if ("log" in target) == ("dose" in target):
        return [*faults, "target: give one of log and dose"]
    fault = (
        _log_fault(name, target["log"]) if "log" in target else _dose_fault(name, target["dose"])
    )
    return [*faults, fault] if fault else faults


def _log_fault(name: str, log: Any) -> str:
    """Return what is wrong with a log reduction asked for, or nothing."""
    if isinstance(log, bool) or not isinstance(log, int | float) or not log > 0:
        return f"target.log = {log!r}: a number above 0"
    largest = largest_log(name)
    if log <= largest:
        return ""
    told = repr(log) if log < 1e9 else "a number of many digits"
    return (
        f"target.log = {told}: nothing beyond {largest:g} log is known for {name}; "
        "no claim above it"
    )


def _dose_fault(name: str, text: Any) -> str:
    """Return what is wrong with a dose asked for, or nothing."""
    if not isinstance(text, str):
        return 'target.dose: a text with a unit, such as "40 mJ/cm2"'
    try:
        dose = quantities.read(text, "dose")
    except RequestError as error:
        return f'target.dose = "{text}": {error}'
    largest = largest_dose(name)
    if 0 < dose <= largest:
        return ""
    return (
        f'target.dose = "{text}": above 0 and not above {quantities.text(largest, "dose")}; '
        f"nothing beyond that is known for {name}"
    )
