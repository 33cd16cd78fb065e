"""What a case says of sun and array."""

from __future__ import annotations

import datetime
import math

from treatsim.constants import CELSIUS_20, DAY, ZERO_CELSIUS
from treatsim.operations.parameters import Parameters, monthly, points, quantity, record, reference
from treatsim.operations.sheets import Sheet
from treatsim.power.module import combined_loss, heat_loss_of
from treatsim.quantities import text

QUARTER = math.pi / 2
WIND_LOSS = 6.84  # J/(m3 K), of an open frame
SOURCES_OF_LIGHT = ("monthly_irradiation", "monthly_clearness", "file")


@record
class SunParameters(Parameters):
    """What the sun gives at the site: twelve monthly means, or a file of hours."""

    monthly_irradiation: tuple[float, ...] | None = monthly(
        "irradiation",
        "global irradiation of a horizontal plane, mean day of each month",
        example="5.2 kWh/m2/day",
        alike=False,
        default=None,
    )
    monthly_clearness: tuple[float, ...] | None = monthly(
        "fraction",
        "instead: share of what comes outside the air; an atlas may count that differently",
        example="55 %",
        alike=False,
        default=None,
    )
    file: str | None = reference(
        "instead: a year of hours (EPW, TMY2, TMY3, or an export of a public irradiation service), "
        "beside the case",
        example="weather.epw",
        default=None,
    )
    air_temperature: tuple[float, ...] | None = monthly(
        "air_temperature",
        "mean of each month; a file may hold it",
        example="25 degC",
        default=None,
    )
    daily_swing: float = quantity(
        "temperature_difference", "half of the difference between day and night", default=5.0
    )
    wind: float = quantity("velocity", "speed at the array; it cools", high=30.0, default=1.0)
    albedo: float = quantity(
        "fraction", "light sent back by the ground; sand 30 %, snow 60 to 80 %", default=0.2
    )
    linke_turbidity: tuple[float, ...] | None = monthly(
        "factor",
        "of a clear sky: 2 very clear and cold, 3 clear, 4 humid, 5 to 6 dusty",
        example=3.5,
        low=1.0,
        high=10.0,
        default=None,
    )

    def conflicts(self):
        """Refuse two sources of light, and none."""
        given = [name for name in SOURCES_OF_LIGHT if getattr(self, name) is not None]
        if not given:
            return [f"{SOURCES_OF_LIGHT[0]} is missing: twelve monthly means, or a file of hours"]
        if len(given) > 1:
            return [f"{given[1]}: {given[0]} tells the light too; keep one"]
        if self.file is not None and (not isinstance(self.file, str) or not self.file.strip()):
            return ["file: a text, the name of a file of hours, belongs here"]
        if self.file is None and self.air_temperature is None:
            return ["air_temperature is missing: modules lose power with heat"]
        return []


def number_of_day(text: str) -> int:
    """Return the day of a year of 365 days, 0 the first of January, by month and day.

    Parameters
    ----------
    text : str
        Month and day, such as "04-15"; ValueError if there is no such day.

    Returns
    -------
    int
        0 to 364. [1]

    Validity
    --------
    A year without a 29th of February.

    Source
    ------
    Definition.
    """
    month, _, day = str(text).partition("-")
    try:
        date = datetime.date(2023, int(month), int(day))
    except OverflowError as error:
        raise ValueError(error) from error
    return date.timetuple().tm_yday - 1


@record
class NominalTemperature(Sheet):
    """Nominal cell temperature, as data sheets have it."""

    gives = ("heat_loss", "wind_heat_loss")
    nominal_cell_temperature: float = quantity(
        "air_temperature",
        "of the cells at 800 W/m2, 20 degC and 1 m/s",
        low=ZERO_CELSIUS + 35.0,
        high=ZERO_CELSIUS + 60.0,
    )

    def coefficients(self):
        """Return both losses of heat; the part by wind is that of open frames."""
        lost = heat_loss_of(self.nominal_cell_temperature, WIND_LOSS)
        return {"heat_loss": lost, "wind_heat_loss": WIND_LOSS}

    def told(self, found):
        """Say what it comes to."""
        warmer = self.nominal_cell_temperature - CELSIUS_20
        return f"cells {warmer:.3g} K above the air at 800 W/m2; wind cools as on an open frame"


@record
class ArrayParameters(Parameters):
    """The photovoltaic array and its charge controller: direct current at the bus."""

    forms = (NominalTemperature,)
    peak_power: float = quantity(
        "power", "of all modules at 1000 W/m2 and 25 degC", low=0.0, open_low=True
    )
    unfolded: float = quantity(
        "fraction", "share of the modules set up; what stays folded gives nothing", default=1.0
    )
    tilt: float = quantity("angle", "from the horizontal", low=0.0, high=QUARTER)
    azimuth: float | None = quantity(
        "angle",
        "direction the array faces, from north clockwise; east 90 deg; equator if not given",
        low=0.0,
        high=4 * QUARTER,
        default=None,
    )
    ground_slope: float = quantity(
        "angle",
        "of the ground, with a frame that was not levelled",
        low=0.0,
        high=0.79,
        default=0.0,
    )
    ground_azimuth: float | None = quantity(
        "angle",
        "direction in which the ground falls, from north clockwise",
        low=0.0,
        high=4 * QUARTER,
        default=None,
    )
    horizon: tuple[tuple[float, float], ...] = points(
        "angle",
        "angle",
        "height of hills and trees all round, by azimuth from north clockwise; 8 to 36 points",
        example=["5 deg at 0 deg", "12 deg at 45 deg"],
        default=(),
    )
    soiling: float = quantity("fraction", "light held back just after cleaning", default=0.02)
    soiling_per_week: float = quantity(
        "fraction",
        "growth; 0 to 1 % in rain climates, 1 to 3 % and more in dust",
        small=True,
        high=0.2,
        default=0.0,
    )
    cleaned_on: str = reference("month and day of one cleaning", example="03-15", default="01-01")
    cleaning_interval: float | None = quantity(
        "duration", "between cleanings, all year round", low=DAY, high=365 * DAY, default=None
    )
    temperature_coefficient: float = quantity(
        "temperature_coefficient", "change of power with temperature", default=-0.004
    )
    low_light_loss: float = quantity(
        "fraction", "share of peak power missing at 200 W/m2", small=True, high=0.05, default=0.01
    )
    heat_loss: float = quantity(
        "heat_loss",
        "of the modules without wind; 25 on open frames, 15 to 20 close to a roof",
        low=5.0,
        high=60.0,
        source="faiman_2008",
        default=25.0,
    )
    wind_heat_loss: float = quantity(
        "wind_heat_loss", "more by wind", high=30.0, source="faiman_2008", default=WIND_LOSS
    )
    cover_loss: float = quantity(
        "factor", "of light at a slant; 0.05 for glass, 0 for none", high=0.3, default=0.05
    )
    mismatch_loss: float = quantity("fraction", "of unequal modules", default=0.02)
    wiring_loss: float = quantity("fraction", "in cables", default=0.02)
    connection_loss: float = quantity("fraction", "in plugs and diodes", small=True, default=0.005)
    light_induced_loss: float = quantity("fraction", "in the first days of light", default=0.015)
    nameplate_loss: float = quantity("fraction", "of power below what is printed", default=0.01)
    controller_efficiency: float = quantity(
        "efficiency", "of a controller that follows the best point; 96 to 98 %", default=0.97
    )
    controller_limit: float | None = quantity(
        "power", "largest power the controller passes on", low=0.0, open_low=True, default=None
    )
    mass: float | None = quantity(
        "weight", "of modules and frames at this peak power; told with sizes of the array",
        open_low=True, default=None,
    )  # fmt: skip

    def conflicts(self):
        """Refuse a slope without direction, half a horizon, a date that is none, endless dirt."""
        found = []
        if self.ground_slope > 0 and self.ground_azimuth is None:
            found.append("ground_azimuth is missing: direction in which the ground falls")
        if self.horizon and not 8 <= len(self.horizon) <= 36:
            found.append(f"horizon: {len(self.horizon)} points; 8 to 36 all round belong here")
        odd = [height for height, _ in self.horizon if not 0 <= height < QUARTER]
        if odd:
            found.append(f"horizon: {text(odd[0], 'angle')}: a height lies between 0 and 90 deg")
        if self.soiling_per_week > 0 and self.cleaning_interval is None:
            found.append("cleaning_interval is missing: dirt that grows is cleaned off some day")
        worst = self.soiling + self.soiling_per_week * (self.cleaning_interval or 0.0) / (7 * DAY)
        if worst > 0.5:
            found.append(
                f"soiling_per_week: {worst:.0%} would be held back before a cleaning; dirt is "
                "followed to 50 %"
            )
        try:
            self.cleaned_day()
        except (ValueError, TypeError):
            found.append('cleaned_on: month and day belong here, such as "03-15"')
        return found

    def cleaned_day(self) -> float:
        """Return the day of one cleaning since the start of the year; ValueError if it is none."""
        return float(number_of_day(self.cleaned_on))

    def passed_on(self) -> float:
        """Return the share of the modules' power that arrives at the bus."""
        losses = (
            self.mismatch_loss,
            self.wiring_loss,
            self.connection_loss,
            self.light_induced_loss,
            self.nameplate_loss,
        )
        return (1 - combined_loss(losses)) * self.controller_efficiency
