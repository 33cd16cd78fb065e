"""Where the energy comes from: the sun, the weather, the photovoltaic array."""
