"""Storage tank: where the product ends."""

from __future__ import annotations

from dataclasses import dataclass

from treatsim.operations.base import Details, Outcome, Parameters, Unit, Value, quantity
from treatsim.water.stream import Stream


def filling_time(volume, flow):
    """Return the time to fill a tank. volume [m3], flow [m3/s] -> [s]"""
    return volume / flow


@dataclass(frozen=True, kw_only=True)
class StorageTankParameters(Parameters):
    """Size of the tank."""

    volume: float = quantity("volume", "usable volume", open_low=True)


@dataclass(frozen=True, kw_only=True)
class StorageTank(Unit):
    """Takes the product; open to the air."""

    parameters: StorageTankParameters
    outlets = ()

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return nothing that leaves; the details tell how long filling takes."""

        def details() -> Details:
            time = filling_time(self.parameters.volume, inlet.flow)
            return Details({"filling_time": Value(time, "duration")})

        return Outcome({}, details=details)
