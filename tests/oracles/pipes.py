"""Pipe friction by the implicit equation, against the explicit one of the package."""

from __future__ import annotations

import numpy as np

from treatsim.errors import require

COLEBROOK_SWEEPS = 40  # each sweep gains about one digit; the worst legal pipe needs some 20


def colebrook_factor(reynolds, relative_roughness):
    """Return the Darcy friction factor of turbulent flow by Colebrook's implicit equation.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number. [1]
    relative_roughness : array_like
        Roughness over inside diameter. [1]

    Returns
    -------
    ndarray, broadcast shape
        Darcy friction factor. [1]

    Validity
    --------
    Reynolds 4000 to 1e8, a roughness up to a twentieth of the bore; solved to rounding.
    DomainError for Reynolds not above 0.

    Source
    ------
    colebrook_1939.
    """
    reynolds = require("reynolds", reynolds, 0.0, np.inf, "1", open_low=True)
    roughness = require("relative_roughness", relative_roughness, 0.0, 1.0, "1")
    inverse_root = np.full(np.broadcast(reynolds, roughness).shape, 7.0)
    for _ in range(COLEBROOK_SWEEPS):
        inverse_root = -2 * np.log10(roughness / 3.7 + 2.51 * inverse_root / reynolds)
    return 1 / inverse_root**2
