"""A lamp by its hours, in place of the factor they come to."""

from __future__ import annotations

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.operations.parameters import quantity, record
from treatsim.operations.sheets import Sheet


@record
class LampHours(Sheet):
    """A lamp by the hours it has burned, of the life it is rated for."""

    gives = ("ageing_factor",)
    lamp_hours: float = quantity("duration", "hours the lamp has burned")
    lamp_life: float = quantity("duration", "rated life of the lamp", open_low=True)
    end_of_life_factor: float = quantity(
        "factor", "output at the end of the rated life over new", open_low=True, high=1
    )

    def coefficients(self):
        """Return the factor on the straight line from new to the end of life."""
        if self.lamp_hours > self.lamp_life:
            raise RequestError("beyond the rated life nothing is known: put in a new lamp")
        used = self.lamp_hours / self.lamp_life
        return {"ageing_factor": 1.0 - (1.0 - self.end_of_life_factor) * used}

    def told(self, found):
        """Say that the dose is that of today."""
        hours, life = (quantities.text(t, "duration") for t in (self.lamp_hours, self.lamp_life))
        return (
            f"ageing factor {found['ageing_factor']:.3g} by {hours} of {life}, on a straight line; "
            f"the dose is today's, and falls until the factor is {self.end_of_life_factor:g}"
        )
