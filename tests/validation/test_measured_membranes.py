"""Membranes against what was measured at units: ratios, as abstracts tell too little for more."""

import numpy as np
import ro_cases
import ro_waters
from oracles import spacer

from treatsim.correlations.ro import spacer_channel
from treatsim.correlations.ro.vessel import VesselFeed
from treatsim.correlations.ro.vessel_inverse import pressure_for_permeate
from treatsim.operations.ro_element import element_of

LMH = 1 / 3.6e6


def pressure(celsius):
    """Feed pressure of four sea-water elements for one product from one feed."""
    line, channel = ro_waters.sea_line(celsius), ro_cases.channel("S40")
    feed = VesselFeed(2.2 / 3600 * 1023.0, 0.035, 5e6)
    found = pressure_for_permeate(
        0.5 / 3600, feed, ro_cases.membrane("S40", celsius), channel, line, 4
    )
    assert found.reached
    return float(found.pressure)


def test_energy_falls_with_warmth(agree):
    cold = pressure(20.0)
    agree("M252_energy_23", pressure(23.0) / cold)
    agree("M254_energy_30", pressure(30.0) / cold)


def test_boron_at_a_low_flux(agree):
    boric = element_of("brackish-4in").boric_acid_permeability
    J = 5 * LMH
    agree("M260_boron_low_flux", J / (J + boric))


def test_mass_transfer_between_spacers(agree):
    law = spacer_channel.SCHOCK_MIQUEL
    agree("M265_sherwood", spacer.sherwood_number(law, np.array([200.0]), np.array([600.0]))[0])
