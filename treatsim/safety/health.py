"""The ledger of a solved case: what the barriers earn, what is asked, what is missing."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from treatsim.flowsheet.result import PRODUCT_END, Result
from treatsim.operations.outcome import Finding, Limit, Value
from treatsim.safety import log_targets
from treatsim.safety.evidence import HealthParameters
from treatsim.safety.log_credit import CLASSES, Barrier
from treatsim.safety.path_credit import Credit, credit
from treatsim.safety.people import DAY
from treatsim.safety.train_barriers import train_barriers
from treatsim.safety.uv_operation import IN_SPECIFICATION_SHARE

ADVICE = {
    "bacteria": "more UV dose, or chlorine with time in a closed tank",
    "virus": "chlorine with time in a closed tank, or much more UV dose",
    "giardia": "more UV dose, or a longer wait with chlorine",
    "cryptosporidium": "more UV dose, or a filter with a challenge test; chlorine does nothing",
}
RULE_WORDS = {
    "us_surface_water": "US surface-water rule",
    "household": "household scheme",
    "qmra": "tolerable burden of 1e-6 life years a person and year",
}


@dataclass
class Health:
    """The ledger and what it is held against."""

    barriers: dict[str, Barrier]  # by unit, in order of flow
    credit: Credit
    target: dict[str, Any]  # class -> log asked; empty if nothing is asked
    lower: dict[str, Any] = field(default_factory=dict)  # class -> lower end of a band asked
    source: str = ""  # key of what asks
    wording: str = ""  # what asks, in words
    untreated_share: Any = 0.0
    survey_done: bool = False

    @property
    def tier(self):
        """Stars of the household scheme that the totals reach."""
        return log_targets.household_tier(self.credit.totals)


def asked(proof: HealthParameters | None) -> tuple[dict, dict, str, str]:
    """Logs asked, lower ends of a band, source and wording.

    Parameters
    ----------
    proof : HealthParameters or None
        Table [health] of the case.

    Returns
    -------
    tuple
        Class -> log asked (the upper end of a band), class -> lower end, key of the source, words.

    Validity
    --------
    The bin table is that of alternative filtration: bags, cartridges, membranes.

    Source
    ------
    cfr_141_711; who_household_2011; who_gdwq_2011
    """
    if proof is None or proof.target is None:
        return {}, {}, "", ""
    words = RULE_WORDS[proof.target]
    if proof.target == "us_surface_water":
        number = proof.cryptosporidium_bin
        asked_of = dict(log_targets.SURFACE_WATER)
        asked_of["cryptosporidium"] = log_targets.cryptosporidium_target(number, "alternative")
        return asked_of, {}, "cfr_141_711", f"{words}, bin {_word(number)}"
    if proof.target == "household":
        bacteria, virus, protozoa = log_targets.STARS[int(np.max(np.asarray(proof.stars)))]
        asked_of = dict(zip(CLASSES, (bacteria, virus, protozoa, protozoa), strict=True))
        return asked_of, {}, "who_household_2011", f"{words}, {_word(proof.stars)} stars"
    return (*_burden(proof), "who_gdwq_2011", words)


def _word(number) -> str:
    return "/".join(f"{n:g}" for n in np.unique(np.asarray(number, float)))


def _burden(proof: HealthParameters) -> tuple[dict, dict]:
    high: dict[str, Any] = {}
    low: dict[str, Any] = {}
    for name, (few, many) in proof.organisms().items():
        cls = log_targets.REFERENCE_PATHOGENS[name].ledger_class
        band = log_targets.required_log_band(name, few, many, proof.water_drunk)
        high[cls], low[cls] = band.high, band.low
    return high, low


def product_end(result: Result):
    """Port of the product: where it leaves, or the inlet of the tank it ends in.

    Parameters
    ----------
    result : Result
        Solved case.

    Returns
    -------
    tuple or None
        Unit and port.

    Validity
    --------
    Any flowsheet; None without product.

    Source
    ------
    definition
    """
    ends = result.sheet.wiring.ends
    if PRODUCT_END in ends:
        return ends[PRODUCT_END]
    tanks = [n for n, u in result.sheet.units.items() if type(u).__name__ == "StorageTank"]
    return (tanks[0], "inlet") if tanks else None


def chlorine_ph(result: Result):
    """Acidity where chlorine acts: of the dosing unit if stated, else of the source.

    Parameters
    ----------
    result : Result
        Solved case.

    Returns
    -------
    array_like or None
        pH, None if not known. [1]

    Validity
    --------
    The source's pH stands for the treated water only where no unit changes it.

    Source
    ------
    definition
    """
    for unit in result.sheet.units.values():
        if type(unit).__name__ == "ChlorineDosing" and unit.parameters.ph is not None:
            return unit.parameters.ph
    return getattr(result.sections.get("water"), "ph", None)


def health(result: Result) -> Health | None:
    """Ledger of a solved case; adds its values, criteria and findings to the result.

    Parameters
    ----------
    result : Result
        Solved case.

    Returns
    -------
    Health or None
        The ledger; None if no product leaves.

    Validity
    --------
    Points without an answer hold meaningless credits.

    Source
    ------
    as stated by each barrier
    """
    end = product_end(result)
    if end is None:
        return None
    proof = result.sections.get("health")
    people = result.sections.get("people")
    barriers = train_barriers(result, proof, chlorine_ph(result))
    target, lower, source, words = asked(proof)
    running = DAY if people is None else people.running_time
    share = 0.0 if proof is None else np.minimum(np.asarray(proof.untreated_time) / running, 1.0)
    solved = result.solved
    flows = {port: np.where(solved, s.flow, 1.0) for port, s in result.streams.items()}
    found = credit(result.sheet, flows, end, barriers, target, share)
    ledger = Health(barriers, found, target, lower, source, words, share,
                    proof is not None and proof.survey_done == "yes")  # fmt: skip
    _tell(result, ledger)
    return ledger


def _tell(result: Result, ledger: Health) -> None:
    """Add values, criteria and findings."""
    for cls in CLASSES:
        result.extra[f"health.log_credit.{cls}"] = Value(ledger.credit.totals[cls], "log_reduction")
    for cls, log in ledger.target.items():
        result.extra[f"health.log_asked.{cls}"] = Value(log, "log_reduction")
        result.extra_limits.append(
            Limit(
                f"log credit for {cls}",
                f"health.log_credit.{cls}",
                ledger.credit.totals[cls],
                ">=",
                log,
                "log_reduction",
                ledger.source,
                "",
                ADVICE[cls],
            )
        )
    _inside(result, ledger)
    if ledger.target and not ledger.survey_done:
        text = "health: the sanitary survey is not done; no credit stands before it"
        result.extra_findings.append(Finding(np.array(True), text))


def _inside(result: Result, ledger: Health) -> None:
    """Hold the water that passes treated against the share a month may fall outside."""
    treated = 1.0 - np.asarray(ledger.untreated_share)
    if not np.any(treated < 1):
        return
    result.extra["health.treated_share"] = Value(treated, "fraction")
    result.extra_limits.append(
        Limit(
            "share of the water treated inside validated conditions",
            "health.treated_share",
            treated,
            ">=",
            IN_SPECIFICATION_SHARE,
            "fraction",
            "cfr_141_720",
            "health.untreated_time",
            "hold the water back while the lamp warms up or anything is out of range",
        )
    )
