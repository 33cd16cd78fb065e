"""Published formulas: arrays in, arrays out, SI units, no objects, no state."""
