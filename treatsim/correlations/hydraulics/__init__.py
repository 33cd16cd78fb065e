"""Pipes, pumps and motors."""
