"""A Modbus RTU server made of libmodbus, run as a program: `python libmodbus_server.py DEVICE`.

libmodbus (C, from Debian) shares no code with pymodbus, our drivers or our simulator. It holds the
transducer of config/profiles/modbus-pressure.toml at 2512.5 Pa and the permit's coil 0, both as unit 1.
Prints a line when it listens and one for each change of the coil. Imports nothing of ours.
"""

from __future__ import annotations

import ctypes
import sys

WORDS = [0x451D, 0x0800, 0x0800, 0x451D, 2512, 4, 0, 40217]
"""2512.5 as IEEE 754 single in both word orders, in Pa, status, serial number (computed by hand)."""


class Mapping(ctypes.Structure):
    """`modbus_mapping_t` of libmodbus 3.1 (modbus.h)."""

    _fields_ = (
        *((f"{name}_{what}", ctypes.c_int) for name in ("bits", "input_bits") for what in ("count", "start")),
        *((f"{name}_{what}", ctypes.c_int) for name in ("input", "holding") for what in ("count", "start")),
        ("bits", ctypes.POINTER(ctypes.c_uint8)),
        ("input_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("input", ctypes.POINTER(ctypes.c_uint16)),
        ("holding", ctypes.POINTER(ctypes.c_uint16)),
    )


def main(device: str) -> None:
    """Serves until killed."""
    library = ctypes.CDLL("libmodbus.so.5")
    library.modbus_new_rtu.restype = ctypes.c_void_p
    library.modbus_mapping_new.restype = ctypes.POINTER(Mapping)
    context = ctypes.c_void_p(library.modbus_new_rtu(device.encode(), 19_200, ctypes.c_char(b"E"), 8, 1))
    mapping = library.modbus_mapping_new(1, 0, len(WORDS), len(WORDS))
    for address, word in enumerate(WORDS):
        mapping.contents.input[address] = mapping.contents.holding[address] = word
    if library.modbus_set_slave(context, 1) or library.modbus_connect(context):
        raise SystemExit(f"libmodbus cannot open {device}")
    print("listening", flush=True)
    request = (ctypes.c_uint8 * 260)()
    coil = 0
    while True:
        length = library.modbus_receive(context, request)
        if length > 0:
            library.modbus_reply(context, request, length, mapping)
        if mapping.contents.bits[0] != coil:
            coil = mapping.contents.bits[0]
            print(f"coil {coil}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
