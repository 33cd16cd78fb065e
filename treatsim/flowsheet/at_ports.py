"""What is told of the water at a port; apart from the solver, for what only describes it."""

from __future__ import annotations

import numpy as np

from treatsim.operations.outcome import Value
from treatsim.water.stream import CONTENTS, Stream

STREAM_VALUES = {
    "flow": "flow",
    "pressure": "pressure",
    "temperature": "temperature",
    "concentration": "concentration",
    "salinity": "mass_fraction",
    "osmotic_pressure": "pressure_difference",
}


def carried_values() -> dict[str, str]:
    """Return what a stream may carry, as it is told: key -> quantity."""
    shown = {name: kind for name, kind in CONTENTS.items() if name != "absorption"}
    return {**shown, "uv_transmittance": "uv_transmittance"}


def stream_values(stream: Stream) -> dict[str, Value]:
    """Return what is told of a stream."""
    found = {key: Value(getattr(stream, key), kind) for key, kind in STREAM_VALUES.items()}
    for name, value in stream.contents.items():
        if name == "absorption":
            found["uv_transmittance"] = Value(np.exp(-np.asarray(value) * 0.01), "uv_transmittance")
        else:
            found[name] = Value(value, CONTENTS[name])
    return found
