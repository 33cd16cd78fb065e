"""Dose requirements, log credit, drinking-water limits, the verdict."""
