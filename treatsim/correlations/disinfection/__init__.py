"""Chlorine, its decay and the time it needs."""
