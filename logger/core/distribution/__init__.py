"""Particle size distribution from several test sieves: one run each, put together after."""
