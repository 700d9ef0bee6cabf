"""A serial line bit by bit: what a receiver makes of bytes that were sent with other settings.

Written from how an asynchronous receiver works (start bit, samples in the middle of each bit, a stop bit that is
not looked at further), from memory. A pseudo terminal has no speed, so wrong settings are only seen here.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Wire:
    baud: int
    bits: int = 8
    parity: str = "none"
    stop: int = 1

    def frame(self, byte: int) -> list[int]:
        data = [(byte >> i) & 1 for i in range(self.bits)]
        parity = [] if self.parity == "none" else [(sum(data) + (self.parity == "odd")) % 2]
        return [0, *data, *parity, *[1] * self.stop]


def sent(data: bytes, wire: Wire, gap_bits: int = 0) -> list[int]:
    """Levels of the line, one entry a bit time of the sender; a gap of idle line after each line feed or pause."""
    levels = [1, 1]
    for byte in data:
        levels += wire.frame(byte)
        levels += [1] * gap_bits
    return [*levels, *[1] * 12]


def received(levels: list[int], sender_baud: int, receiver: Wire) -> bytes:
    """What a receiver with other settings hands on; a wrong stop bit is handed on as it is."""
    step = sender_baud / receiver.baud  # bit times of the sender in one of the receiver's
    parity = receiver.parity != "none"
    found = bytearray()
    at = 0.0
    end = len(levels)
    while True:
        index = int(at)
        while index < end and levels[index] == 1:
            index += 1
        if index >= end:
            return bytes(found)
        start = max(at, float(index))
        samples = [start + (0.5 + i) * step for i in range(receiver.bits + 2 + parity)]
        if samples[-1] >= end:
            return bytes(found)
        bits = [levels[int(sample)] for sample in samples]
        if bits[0] == 0:
            found.append(sum(bit << i for i, bit in enumerate(bits[1 : 1 + receiver.bits])))
        at = samples[-1]
        while int(at) < end and levels[int(at)] == 0:  # a new start needs the line to be idle first
            at = float(int(at) + 1)
