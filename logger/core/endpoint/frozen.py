"""A balance that shows the same digits for longer than powder, noise and digits allow."""

from __future__ import annotations

import math

from logger.core.endpoint.blocks import Block

RARE = 0.05
"""Blocks of equal digits below this share of all are never natural on this balance today."""


class FrozenWatch:
    """Decides block by block. `digit` is the readability in % of the charge."""

    def __init__(self, digit: float) -> None:
        self._digit = digit
        self._equal = 0
        self._seen = 0
        self._run: tuple[float, float] | None = None

    def is_frozen(self, block: Block, rate_per_s: float | None, noise_var: float) -> bool:
        """Whether the block must be left out. `rate_per_s` is the expected fall, None before it is known."""
        self._seen += 1
        if not block.all_equal:
            self._run = None
            return False
        self._equal += 1
        if self._equal < RARE * self._seen:
            return True
        if rate_per_s is None:
            return False
        if self._run is None or self._run[0] != block.mass:
            self._run = (block.mass, block.t_s - 0.5 * block.span_s)
        fall = rate_per_s * (block.t_s + 0.5 * block.span_s - self._run[1])
        return fall > 2 * self._digit + 4 * math.sqrt(noise_var)
