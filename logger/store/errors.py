"""What can go wrong with the store, in sentences."""

from __future__ import annotations


class StoreError(Exception):
    """The store cannot be used or has lost trust; the text names the path and what to do."""
