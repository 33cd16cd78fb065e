"""What the plots of a UV reactor share: the unit, its inlet, and doses at other flows."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.uv import dose
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.correlations.uv.validation_factor import validated_dose
from treatsim.operations.outcome import at
from treatsim.operations.uv_reactor import MIXINGS, UvReactor, credited_organism
from treatsim.water.stream import Stream

KIND = "uv_reactor"
WORDS = {  # of a mixing assumption
    "unmixed": "unmixed plug flow",
    "laminar": "laminar, unmixed",
    "tanks": "tanks in series",
}


class Reactor(NamedTuple):
    """The first UV reactor of a solved case."""

    name: str
    unit: UvReactor
    inlet: Stream
    flow: float  # m3/s
    absorption: float  # 1/m
    organism: str  # whose equivalent dose is credited


def applies(case: Any) -> bool:
    """Whether the case has a UV reactor."""
    return KIND in case.kinds.values()


def reactor(case: Any) -> Reactor:
    """Return the first UV reactor at its operating point."""
    result = case.solve()
    name = next(n for n, kind in case.kinds.items() if kind == KIND)
    unit, inlet = result.sheet.units[name], result.streams[name, "inlet"]
    return Reactor(
        name,
        unit,
        inlet,
        float(at(inlet.flow, 0)),
        float(at(inlet.contents["absorption"], 0)),
        credited_organism(unit.parameters.target),
    )


def water(item: Reactor, flow, absorption) -> Stream:
    """Return the inlet at other flows [m3/s] and absorptions [1/m], one length."""
    one = item.inlet.take(0) if np.ndim(item.inlet.mass_flow) else item.inlet
    return one.changed(contents={"absorption": absorption}).with_flow(flow)


def credited(item: Reactor, flow, absorption) -> dict[str, np.ndarray]:
    """Return the dose that each mixing assumption alone would let be credited. [J/m2]"""
    _, bands = item.unit.bands(water(item, flow, absorption))
    p = item.unit.parameters
    test, target = (ORGANISMS[name].response for name in (p.test_organism, item.organism))
    return {
        name: np.minimum(
            validated_dose(dose.equivalent_dose(bands[name], test), p.validation_factor),
            dose.equivalent_dose(bands[name], target),
        )
        for name in MIXINGS
    }


def transmittance(absorption):
    """Return the transmittance per centimetre. [1]"""
    return np.exp(-0.01 * np.asarray(absorption))
