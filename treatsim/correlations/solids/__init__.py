"""Settling, filtration and the sizes of particles."""
