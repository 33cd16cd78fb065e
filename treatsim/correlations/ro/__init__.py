"""Transport through membranes and along a vessel."""
