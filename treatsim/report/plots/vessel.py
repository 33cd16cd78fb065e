"""What the plots of a reverse-osmosis vessel share: where it is, and its state along the way."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.ro import spacer_channel, vessel, vessel_kernel
from treatsim.correlations.ro.solution_line import line_of_water, osmotic_pressure
from treatsim.operations.outcome import at
from treatsim.operations.ro_element import element_of, membrane_at

KIND = "ro_vessel"
CUTS = 8  # parts of one element, to see between its ends


class Along(NamedTuple):
    """State along a vessel, shape (places,)."""

    place: np.ndarray  # m from the feed end
    flux: np.ndarray  # m/s
    pressure: np.ndarray  # Pa
    osmotic_bulk: np.ndarray  # Pa
    osmotic_membrane: np.ndarray  # Pa
    polarisation: np.ndarray  # membrane over bulk mass fraction
    element_length: float  # m
    permeate_pressure: float  # Pa


def applies(case: Any) -> bool:
    """Whether the case has a reverse-osmosis vessel."""
    return KIND in case.kinds.values()


def name_of(case: Any) -> str:
    """Return the name of the first vessel."""
    return next(name for name, kind in case.kinds.items() if kind == KIND)


def along(result: Any, name: str) -> Along:
    """Return the state along a vessel of a solved case, its elements cut into short ones."""
    parameters, feed = result.sheet.units[name].parameters, result.streams[name, "feed"]
    element, temperature = element_of(parameters.element), float(at(feed.temperature, 0))
    channel = element.channel._replace(area=element.area / CUTS, length=element.length / CUTS)
    line = line_of_water(feed.water, temperature)
    solved = vessel.solve_vessel(
        vessel.VesselFeed(
            float(at(feed.mass_flow, 0)) / float(at(parameters.vessels_in_parallel, 0)),
            float(at(feed.salinity, 0)),
            float(at(feed.pressure, 0)),
            float(at(parameters.permeate_pressure, 0)),
        ),
        membrane_at(
            element,
            parameters.correlation,
            temperature,
            parameters.water_permeability_ratio,
            parameters.salt_permeability_ratio,
            parameters.reflection_coefficient,
        ),
        channel,
        line,
        CUTS * int(parameters.elements_in_series),
        spacer_channel.fouled(
            spacer_channel.correlation(parameters.correlation),
            float(at(parameters.pressure_drop_ratio, 0)),
        ),
    )
    y, m, pressure, flux, beta = solved.nodes.reshape(-1, 5).T[:, :, None]
    here = vessel_kernel.local(vessel_kernel.ARRAYS, solved.problem, y, m, flux, beta)
    bulk, membrane = np.asarray(here.bulk).ravel(), np.asarray(here.membrane).ravel()
    return Along(
        np.arange(bulk.size) * channel.length,
        flux.ravel(),
        pressure.ravel(),
        osmotic_pressure(line, bulk),
        osmotic_pressure(line, membrane),
        membrane / bulk,
        element.length,
        float(at(parameters.permeate_pressure, 0)),
    )
