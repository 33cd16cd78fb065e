"""Germs: what the barriers earn, what is asked, what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np

from treatsim.constants import DAY
from treatsim.flowsheet.result import Result
from treatsim.numerics import distinct
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import Limit, Value, unjudged
from treatsim.safety import log_targets
from treatsim.safety.additions import Additions
from treatsim.safety.barrier_rules import train_barriers
from treatsim.safety.composed_credit import composed_credits
from treatsim.safety.evidence import YES_NO, HealthParameters
from treatsim.safety.log_credit import CLASSES, Barrier
from treatsim.safety.path_credit import Credit, credit
from treatsim.safety.uv_operation import IN_SPECIFICATION_SHARE

YES = YES_NO[0]
ADVICE = {
    "bacteria": "more UV dose, or chlorine with time in a closed tank",
    "virus": "chlorine with time in a closed tank, or much more UV dose",
    "giardia": "more UV dose, or a longer wait with chlorine",
    "cryptosporidium": "more UV dose, or a filter with a challenge test; chlorine does nothing",
}
ASSESSED = tuple(row.ledger_class for row in log_targets.REFERENCE_PATHOGENS.values())
RULE_WORDS = {
    "us_surface_water": "US surface-water rule",
    "household": "household scheme",
    "qmra": "tolerable burden of 1e-6 life years a person and year",
}


@dataclass
class Germs:
    """The ledger and what it is held against."""

    barriers: dict[str, Barrier]  # by unit, in order of flow
    credit: Credit
    target: dict[str, Any]  # class -> log asked; empty if nothing is asked
    lower: dict[str, Any] = field(default_factory=dict)  # class -> lower end of a band asked
    source: Mapping[str, str] = field(default_factory=dict)  # class -> key of what asks
    wording: str = ""  # what asks, in words
    untreated_share: Any = 0.0
    survey_done: bool = False

    @property
    def tier(self):
        """Stars of the household scheme that the totals reach."""
        return log_targets.household_tier(self.credit.totals)


def asked(proof: HealthParameters | None) -> tuple[dict, dict, dict, str]:
    """Logs asked, lower ends of a band, source and wording.

    Parameters
    ----------
    proof : HealthParameters or None
        Table [health] of the case.

    Returns
    -------
    tuple
        Class -> log asked (the upper end of a band), class -> lower end, class -> source, words.

    Validity
    --------
    The bin table is that of alternative filtration: bags, cartridges, membranes.

    Source
    ------
    cfr_141_72 (b)(1), cfr_141_711 for Cryptosporidium; who_household_2011; who_gdwq_2011
    """
    if proof is None or proof.target is None:
        return {}, {}, {}, ""
    words = RULE_WORDS[proof.target]
    if proof.target == "us_surface_water":
        number = cast(int, proof.cryptosporidium_bin)  # there with this target
        asked_of: dict[str, Any] = dict(log_targets.SURFACE_WATER)
        asked_of["cryptosporidium"] = log_targets.cryptosporidium_target(number, "alternative")
        clauses = dict.fromkeys(asked_of, "cfr_141_72") | {"cryptosporidium": "cfr_141_711"}
        return asked_of, {}, clauses, f"{words}, bin {_word(number)}"
    if proof.target == "household":
        bacteria, virus, protozoa = log_targets.STARS[int(np.max(np.asarray(proof.stars)))]
        asked_of = dict(zip(CLASSES, (bacteria, virus, protozoa, protozoa), strict=True))
        source = dict.fromkeys(asked_of, "who_household_2011")
        return asked_of, {}, source, f"{words}, {_word(proof.stars)} stars"
    high, low = _burden(proof)
    return high, low, dict.fromkeys(high, "who_gdwq_2011"), words


def _word(number) -> str:
    return "/".join(f"{n:g}" for n in distinct(number))


def _burden(proof: HealthParameters) -> tuple[dict, dict]:
    high: dict[str, Any] = {}
    low: dict[str, Any] = {}
    for name, (few, many) in proof.organisms().items():
        cls = log_targets.REFERENCE_PATHOGENS[name].ledger_class
        band = log_targets.required_log_band(name, few, many, cast(float, proof.water_drunk))
        high[cls], low[cls] = band.high, band.low
    return high, low


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
        if unit.parameters_field("ph") is not None and unit.parameters.ph is not None:
            return unit.parameters.ph
    return getattr(result.sections.get("water"), "ph", None)


RESULTS = {
    "health.log_credit.*": Told("log_reduction", "log credit of all barriers, by class of germs"),
    "health.log_asked.*": Told("log_reduction", "log reduction asked for, by class of germs"),
    "health.treated_share": Told("fraction", "share of the time in which water is treated"),
}


def germs(result: Result, earlier: Additions) -> Additions:
    """Ledger of a solved case: values, and the log credit of each class against what is asked.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        With the record "germs", the ledger; nothing if no product leaves. Without a target, and
        before the sanitary survey is done, germs are not judged.

    Validity
    --------
    Points without an answer hold meaningless credits.

    Source
    ------
    as stated by each barrier
    """
    if result.product_end is None:
        return Additions(limits=(unjudged("germs", "flowsheet.links"),))
    proof, people = result.sections.get("health"), result.sections.get("people")
    barriers = train_barriers(result, proof, chlorine_ph(result))
    target, lower, source, words = asked(proof)
    running = DAY if people is None else people.running_time
    share = 0.0 if proof is None else np.minimum(np.asarray(proof.untreated_time) / running, 1.0)
    flows = {port: np.where(result.solved, s.flow, 1.0) for port, s in result.streams.items()}
    found = credit(result.sheet, flows, result.product_end, barriers, target, share)
    surveyed = proof is not None and proof.survey_done == YES
    ledger = Germs(barriers, found, target, lower, source, words, share, surveyed)
    limits = (*_asked_limits(ledger, proof), *_inside(ledger))
    sources = tuple(b.source.split()[0] for b in barriers.values())
    composed = {
        f"health.log_credit.{cls}": made
        for cls, made in composed_credits(
            result.sheet, flows, result.product_end, barriers, share
        ).items()
    }
    records = {"germs": ledger}
    return Additions(_values(ledger), limits, sources=sources, records=records, composed=composed)


def _values(ledger: Germs) -> dict[str, Value]:
    values = {
        f"health.log_credit.{cls}": Value(ledger.credit.totals[cls], "log_reduction")
        for cls in CLASSES
    }
    values |= {
        f"health.log_asked.{cls}": Value(log, "log_reduction") for cls, log in ledger.target.items()
    }
    if np.any(_treated(ledger) < 1):
        values["health.treated_share"] = Value(_treated(ledger), "fraction")
    return values


def _treated(ledger: Germs):
    return 1.0 - np.asarray(ledger.untreated_share)


def _asked_limits(ledger: Germs, proof: HealthParameters | None) -> list[Limit]:
    """One limit for each class asked; no credit stands before the sanitary survey."""
    if proof is None or not ledger.target:
        return [unjudged("germs", "health.target")]
    needs = "" if ledger.survey_done else "health.survey_done"
    found = [
        Limit(
            f"log credit for {cls}",
            f"health.log_credit.{cls}",
            ledger.credit.totals[cls],
            ">=",
            log,
            "log_reduction",
            ledger.source[cls],
            "",
            ADVICE[cls],
            "health",
            needs,
            ledger.survey_done,
        )
        for cls, log in ledger.target.items()
    ]
    if proof.target == "qmra":
        found += [unjudged(f"log credit for {cls}", "health.source_organisms")
                  for cls in ASSESSED if cls not in ledger.target]  # fmt: skip
    return found


def _inside(ledger: Germs) -> list[Limit]:
    """Hold the water that passes treated against the share a month may fall outside."""
    if not np.any(_treated(ledger) < 1):
        return []
    return [
        Limit(
            "share of the water treated inside validated conditions",
            "health.treated_share",
            _treated(ledger),
            ">=",
            IN_SPECIFICATION_SHARE,
            "fraction",
            "cfr_141_720",
            "health.untreated_time",
            "hold the water back while the lamp warms up or anything is out of range",
            "health",
        )
    ]
