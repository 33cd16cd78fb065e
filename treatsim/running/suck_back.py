"""What membranes draw back by osmosis when the pumps stop.

Without pressure the salt ahead of the membranes draws permeate back through them. What comes
through pushes salt water out and dilutes the rest, which draws less: with osmotic pressure in
proportion to salt and the water ahead well mixed, the flow falls as q0 / (1 + q0 t / V).
"""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array


def drawn_back(time, flow, volume) -> Array:
    """Volume drawn back since the stop.

    Parameters
    ----------
    time : array_like
        Since the pressure is gone. [s]
    flow : array_like
        Drawn back at first: permeability, area and osmotic pressure multiplied. [m3/s]
    volume : array_like
        Of water ahead of the membranes; 0 if it is never diluted. [m3]

    Returns
    -------
    ndarray
        [m3]

    Validity
    --------
    No salt behind the membranes, no concentration polarisation: drawn back faster than in truth.

    Source
    ------
    definition
    """
    time, flow, volume = (np.asarray(value, float) for value in (time, flow, volume))
    held = np.where(volume > 0, volume, 1.0)
    return np.where(volume > 0, held * np.log1p(flow * time / held), flow * time)


def emptied_after(behind, flow, volume) -> Array:
    """Time after which the water behind the membranes has been drawn back.

    Parameters
    ----------
    behind : array_like
        Water behind the membranes. [m3]
    flow : array_like
        Drawn back at first, above zero. [m3/s]
    volume : array_like
        Of water ahead of the membranes; 0 if it is never diluted. [m3]

    Returns
    -------
    ndarray
        [s]

    Validity
    --------
    As of `drawn_back`.

    Source
    ------
    definition
    """
    behind, flow, volume = (np.asarray(value, float) for value in (behind, flow, volume))
    held = np.where(volume > 0, volume, 1.0)
    grown = np.where(volume > 0, held * np.expm1(np.minimum(behind / held, 700.0)), behind)
    return grown / flow
