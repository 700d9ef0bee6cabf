"""A finished run, and what several make together, for people and spreadsheets."""
