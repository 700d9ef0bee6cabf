"""Lastgrain: data logger and run controller for air-jet sieving."""

__version__ = "0.1.0"
