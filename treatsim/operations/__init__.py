"""Unit operations, one file each."""
