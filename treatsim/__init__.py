"""treatsim: process simulation of small mobile drinking-water treatment units."""

__version__ = "0.1.0"
