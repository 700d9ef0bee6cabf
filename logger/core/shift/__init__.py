"""The start of a shift: what is due on a bench, and the entries that a person makes before the first run."""
