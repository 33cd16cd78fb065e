"""Connecting units and solving for the operating point."""
