"""Sentinel watches the six-metre band so that its operator need not."""

__version__ = "0.1.0"
