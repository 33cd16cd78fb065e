"""The reference paths through a case: every result by the address that a user would ask for."""

import pytest
import ro_cases
from ro_plant import number, path

BAR, HOUR, LMH, KWH = 1e5, 3600.0, 1 / 3.6e6, 3.6e6


@pytest.mark.parametrize("name", ro_cases.CASES)
def test_reference_paths_by_their_addresses(agree, name):
    result = path(name)
    get = lambda address: number(result, address)  # noqa: E731
    assert result.solved[0]
    if name == "W14_bw7":
        agree("W14_bw7_pressure", get("pump.outlet_pressure") / BAR)
    agree(f"{name}_permeate_flow", get("ro.permeate.flow") * HOUR)
    agree(f"{name}_permeate_concentration", get("ro.permeate.concentration") * 1e3)
    agree(f"{name}_recovery", get("ro.recovery") * 100)
    agree(f"{name}_drop", get("ro.pressure_drop") / BAR)
    agree(f"{name}_polarisation_max", get("ro.polarisation_max"))
    agree(f"{name}_driving_pressure_min", get("ro.net_driving_pressure_min") / BAR)
    fluxes = [get(f"ro.flux_{key}") / LMH for key in ("mean", "inlet", "outlet")]
    agree(f"{name}_fluxes", fluxes)
    agree(f"{name}_concentrate", get("ro.concentrate.concentration"))
    agree(f"{name}_energy", get("energy.specific") / KWH)
