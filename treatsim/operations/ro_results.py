"""What a reverse-osmosis vessel may tell; chemistry only of an ion analysis, or of sea water."""

from __future__ import annotations

from collections.abc import Mapping

from treatsim.operations.declarations import Told

RESULTS: Mapping[str, Told] = {
    "recovery": Told("fraction"),
    "salt_rejection": Told("fraction"),
    "pressure_drop": Told("pressure_difference"),
    "polarisation_max": Told("factor"),
    "net_driving_pressure_min": Told("pressure_difference"),
    "flux_mean": Told("flux"),
    "flux_first": Told("flux"),
    "flux_last": Told("flux"),
    "flux_inlet": Told("flux", "flux at the inlet of the first element"),
    "flux_outlet": Told("flux", "flux at the outlet of the last element"),
    "membrane_salinity_max": Told("mass_fraction", "largest salinity at a membrane"),
    "water_permeability": Told("water_permeability", "water permeability A as it is today"),
    "salt_permeability": Told("salt_permeability", "salt permeability B as it is today"),
    "vessel.feed_flow": Told("flow", "feed of one vessel of those side by side"),
    "vessel.permeate_flow": Told("flow", "permeate of one vessel"),
    "vessel.concentrate_flow": Told("flow", "concentrate of one vessel"),
    "lost_power": Told("power", "hydraulic power lost"),
    "feed.ph": Told("ph", "pH of the feed, of an ion analysis or sea water with a pH"),
    "permeate.ph": Told("ph", "pH of the permeate"),
    "concentrate.ph": Told("ph", "pH of the concentrate"),
    "ph_min": Told("ph", "lowest pH along the vessel, where acid or base is dosed"),
    "ph_max": Told("ph", "highest pH along the vessel, where acid or base is dosed"),
    "membrane.ph": Told("ph", "pH at the membrane where it is saltiest"),
    "feed.boron": Told("concentration", "boron in the feed"),
    "permeate.boron": Told("concentration", "boron in the permeate"),
    "concentrate.boron": Told("concentration", "boron in the concentrate"),
    "permeate.carbon_dioxide": Told("concentration", "carbon dioxide in the permeate"),
    "permeate.*": Told("concentration", "a substance of the analysis in the permeate"),
    "alkalinity_passage": Told("fraction", "share of the alkalinity that passes"),
    "blend_share": Told("fraction", "share of raw water that may be blended in for taste"),
    "concentrate.concentration_factor": Told("factor", "concentrate over source"),
    "membrane.concentration_factor": Told("factor", "at the membrane, over source"),
    "saturation.*": Told("factor", "saturation at the membrane, by mineral; 1 is saturated"),
    "saturation_bulk.*": Told("factor", "saturation of the concentrate, by mineral"),
    "recovery_limit.*": Told("fraction", "recovery at which a mineral forms, by mineral"),
    "recovery_limit_antiscalant.*": Told("fraction", "the same with an antiscalant"),
    "concentrate.langelier_index": Told("factor", "Langelier index of the concentrate"),
    "calcite_contact.ph": Told("ph", "pH of the permeate behind a bed of calcite"),
    "calcite_contact.calcium": Told("concentration", "calcium behind the bed"),
    "calcite_contact.*": Told("concentration", "alkalinity behind the bed, as CaCO3"),
    "carbonate_index": Told("factor", "saturation index of calcium carbonate that is judged"),
    "recovery_searched": Told("fraction", "recovery up to which scale was looked for"),
    "element_recovery_max": Told("fraction", "largest recovery of an element"),
    "element_recovery_max_at": Told("count", "element with it, counted from the feed"),
    "element_pressure_drop_max": Told("pressure_difference", "largest pressure drop of an element"),
    "element_pressure_drop_max_at": Told("count", "element with it"),
    "element_concentrate_flow_min": Told("flow", "smallest flow that leaves an element"),
    "element_concentrate_flow_min_at": Told("count", "element with it"),
    "element_feed_flow_max": Told("flow", "flow into the first element"),
    "element_pressure_max": Told("pressure", "largest pressure of an element"),
    "polarisation_max_at": Told("count", "element of the largest polarisation"),
    "element_*.flux": Told("flux", "flux by element"),
    "element_*.recovery": Told("fraction", "recovery by element"),
    "element_*.feed_flow": Told("flow", "flow that enters each element"),
    "element_*.feed_pressure": Told("pressure", "pressure ahead of each element"),
    "element_*.polarisation_max": Told("factor", "largest polarisation by element"),
    "element_*.membrane_salinity_max": Told(
        "mass_fraction", "largest salinity at the membrane by element"
    ),
    "element_*.saturation.*": Told("factor", "saturation at the membrane by element and mineral"),
    "element_*.carbonate_index": Told("factor", "index of calcium carbonate by element"),
    "element_*.net_driving_pressure_min": Told(
        "pressure_difference", "smallest driving pressure by element"
    ),
    "element_*.concentrate_flow": Told("flow", "flow that leaves each element"),
    "element_*.concentrate_concentration": Told(
        "concentration", "salt in what leaves each element"
    ),
    "element_*.concentrate_pressure": Told("pressure", "pressure behind each element"),
    "element_*.permeate_concentration": Told(
        "concentration", "salt in the permeate of each element"
    ),
    "element_*.pressure_drop": Told("pressure_difference", "pressure drop by element"),
}
