"""Light of a lamp in water, and the dose it gives."""
