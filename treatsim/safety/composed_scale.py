"""The index of calcium carbonate, which jumps between formulas, as made of smooth numbers."""

from __future__ import annotations

import numpy as np

from treatsim.operations.composed import Composed
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.scale import ScaleState, allowed
from treatsim.water import scaling


def composed_index(view: MembraneView, state: ScaleState, dosed) -> dict[str, Composed]:
    """Return how the index of calcium carbonate and its limit jump, for what cannot solve.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    state : ScaleState
        Of the vessel. [-]
    dosed : array_like
        Whether an antiscalant reaches it. [bool]

    Returns
    -------
    dict
        Address of the index, and the same with " limit" behind it. Nothing where an antiscalant
        reaches it at some points only.

    Validity
    --------
    As `scale_state`.

    Source
    ------
    definition
    """
    if not state.reads or np.min(dosed) != np.max(dosed):
        return {}
    salt, strength, below, above, wall = state.reads
    salty = ["upto", strength, scaling.STIFF_DAVIS_JUMP, below, above]
    bounds = [float(np.min(allowed(view.analysis.kind, kind, dosed)))
              for kind in (False, True)]  # fmt: skip
    line, address = scaling.LANGELIER_RANGE.high, f"{view.name}.carbonate_index"
    alike = frozenset((below, above, wall))
    return {
        address: Composed(["upto", salt, line, wall, salty], state.reads, alike),
        f"{address} limit": Composed(["upto", salt, line, *bounds], {salt: state.reads[salt]}),
    }
