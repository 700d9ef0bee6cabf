"""Bytes of balances and pressure transducers to readings in g and Pa. Knows nothing of the rest."""
