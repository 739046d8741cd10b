"""Sumpline: roadside and pit diagnosis by text message."""

__version__ = "0.1.0"
