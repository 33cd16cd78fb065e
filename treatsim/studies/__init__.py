"""Many operating points: sweep, find, compare."""
