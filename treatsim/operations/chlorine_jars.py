"""A series of chlorinated jars, in place of the dose and the demand they come to."""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.correlations.disinfection import chlorine
from treatsim.errors import DomainError, NoSolutionError, RequestError
from treatsim.operations.parameters import points, quantity, record
from treatsim.operations.sheets import Sheet

WEAKEST_HOLDS = "already the weakest jar holds it: weaker jars would tell a smaller dose"


@record
class ChlorineJars(Sheet):
    """Jars of the water that arrives at the doser, each with another dose, read after 30 min."""

    gives = ("dose", "demand")
    jars: tuple = points(
        "concentration",
        "concentration",
        "free chlorine left in each jar after 30 min, at its dose of available chlorine",
        example=["0 mg/L at 0.5 mg/L", "0.3 mg/L at 1 mg/L", "0.8 mg/L at 1.5 mg/L"],
    )
    jar_residual: float = quantity(
        "concentration", "free chlorine wanted in the jar then, usually 0.5 mg/L", open_low=True
    )

    def coefficients(self):
        """Return the smallest dose from which on every jar holds it, and what the water takes."""
        left, doses = np.array(self.jars).T
        try:
            chlorine.chlorine_demand(doses, left)
            dose = chlorine.jar_dose(doses, left, self.jar_residual)
            held = float(np.interp(dose, doses, left))
            return {"dose": dose, "demand": float(chlorine.chlorine_demand(dose, held))}
        except (DomainError, NoSolutionError) as error:
            raise RequestError(str(error)) from None

    def told(self, found):
        """Say what was wanted, and that both hold for this water only."""
        dose, demand, wanted = (
            quantities.text(value, "concentration")
            for value in (found["dose"], found["demand"], self.jar_residual)
        )
        text = (
            f"dose {dose} and demand {demand} by {len(self.jars)} jars, {wanted} left after "
            "30 min; another day, another water: jars anew"
        )
        weakest = self.jars[0]
        return f"{text}; {WEAKEST_HOLDS}" if weakest[0] >= self.jar_residual else text
