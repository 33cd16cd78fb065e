"""Usual loss coefficients and roughnesses, each with its spread and where it comes from."""

from __future__ import annotations

from typing import NamedTuple

MEMORY = "handbook values from memory"
PRACTICE = "common practice, no source"


class Usual(NamedTuple):
    """A usual value and the span met in the field."""

    value: float
    low: float
    high: float
    provenance: str


# Loss coefficient K on the velocity head of the bore. [1]
LOSS_COEFFICIENTS = {
    "entrance": Usual(0.5, 0.05, 1.0, MEMORY),
    "bend_90": Usual(0.9, 0.3, 1.5, MEMORY),
    "tee_branch": Usual(1.8, 1.0, 2.0, MEMORY),
    "ball_valve": Usual(0.05, 0.05, 0.2, MEMORY),
    "swing_check_valve": Usual(2.5, 2.0, 10.0, MEMORY),
    "foot_valve_with_strainer": Usual(6.0, 3.0, 10.0, MEMORY),
    "exit": Usual(1.0, 1.0, 1.0, "definition"),
    "quick_coupling": Usual(0.2, 0.1, 0.3, MEMORY),
    "clean_strainer": Usual(2.0, 1.0, 3.0, PRACTICE),
    "hose_kink": Usual(8.0, 2.0, 20.0, PRACTICE),
}

# Absolute roughness. [m]
ROUGHNESSES = {
    "drawn_plastic": Usual(1.5e-6, 1.5e-6, 7e-6, MEMORY),
    "lay_flat_hose": Usual(2e-5, 1e-5, 3e-5, MEMORY),
    "spiral_suction_hose": Usual(2e-4, 1e-4, 5e-4, MEMORY),
    "used_with_biofilm": Usual(3e-4, 2e-4, 1e-3, PRACTICE),
}
