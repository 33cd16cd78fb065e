"""Ultraviolet doses that standards ask for, at 254 nm; the table of log credits is dose_table."""

from __future__ import annotations

from typing import NamedTuple


class Demand(NamedTuple):
    """A dose, or a log reduction, that a standard asks for."""

    value: float
    unit: str
    meaning: str
    source: str
    known: str  # read | memory


DEMANDS = {
    "nsf_55_class_a": Demand(
        400.0, "J/m2", "at the alarm point; unsafe but clear water", "nsf_ansi_55", "read"
    ),
    "nsf_55_class_b": Demand(
        160.0, "J/m2", "supplement for water fit to drink", "nsf_ansi_55", "read"
    ),
    "austria": Demand(
        400.0, "J/m2", "equivalent dose, B. subtilis spores", "austrian_food_code_b1", "read"
    ),
    "germany": Demand(400.0, "J/m2", "equivalent dose, B. subtilis spores", "dvgw_w_294", "read"),
    "purifier_1987_bacteria": Demand(6.0, "log", "Klebsiella", "epa_1987", "read"),
    "purifier_1987_virus": Demand(4.0, "log", "polio- and rotavirus", "epa_1987", "read"),
    "purifier_1987_cyst": Demand(3.0, "log", "cysts", "epa_1987", "read"),
    "within_validation": Demand(
        0.95, "1", "share of a month's water inside validated conditions", "cfr_141_720", "memory"
    ),
}
