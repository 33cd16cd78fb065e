"""Electric motors and drives: losses at part load."""

from __future__ import annotations

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require

FIXED_LOSS_SHARE = 0.4  # of the rated losses; common practice, no source


def part_load_efficiency(
    load: ArrayLike, rated_efficiency: ArrayLike, fixed_share: ArrayLike = FIXED_LOSS_SHARE
) -> Array:
    """Efficiency of a motor or drive at part load, from fixed and load-squared losses.

    Parameters
    ----------
    load : array_like
        Power given out over rated power. [1]
    rated_efficiency : array_like
        Efficiency at load 1. [1]
    fixed_share : array_like
        Share of the rated losses that does not depend on the load. [1]

    Returns
    -------
    ndarray
        Efficiency at `load`, in the broadcast shape; 0 at no load. [1]

    Validity
    --------
    Load 0 to about 1.3. The split of the losses is common practice: 0.3 to 0.5 for small induction
    motors and converters. A load outside 0 to 2 or an efficiency outside 0 to 1 raises DomainError.

    Source
    ------
    definition; the split is common practice, no source.
    """
    load = require("load", load, 0.0, 2.0, "")
    rated = require("rated_efficiency", rated_efficiency, 0.0, 1.0, "", open_low=True)
    share = require("fixed_share", fixed_share, 0.0, 1.0, "")
    rated_loss = 1.0 / rated - 1.0
    return load / (load + rated_loss * (share + (1.0 - share) * load**2))
