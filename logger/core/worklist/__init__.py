"""Planned samples of a bench, and what a sample's job asks for next."""
