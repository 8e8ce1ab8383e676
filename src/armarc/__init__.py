"""Measures shoulder raises with one wrist sensor."""

__version__ = "0.1.0"
