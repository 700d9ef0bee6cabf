"""Register maps from TOML files, as strict as line profiles: what is doubtful is refused with its line."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from drivers.modbus_profile import (
    MODBUS_MODE,
    ModbusProfile,
    Profile,
    Register,
    RegisterKind,
    RegisterType,
    StatusBits,
    WordOrder,
)
from drivers.profile_file import parse_profile, read_range, read_serial, read_suction, read_unit
from drivers.toml_table import ProfileError, TomlSource, TomlTable
from drivers.units import Quantity

_TOP_KEYS: Final = (
    "title",
    "quantity",
    "unit",
    "suction",
    "mode",
    "unit_id",
    "period_s",
    "silence_s",
    "value",
    "status",
    "identity",
    "range",
    "serial",
)
_REGISTER_KEYS: Final = ("register", "address", "type", "word_order")
_VALUE_KEYS: Final = (*_REGISTER_KEYS, "scale", "overload", "underload")
_STATUS_KEYS: Final = (
    "register",
    "address",
    "with_value",
    "fault_bits",
    "overload_bits",
    "underload_bits",
    "steady_bit",
)
_MOST_AT_ONCE: Final = 125
"""Registers in one answer (MODBUS application protocol 1.1b3, from memory)."""
_WHOLE_TYPES: Final = [kind for kind in RegisterType if kind is not RegisterType.FLOAT32]


def load_any_profile(path: Path) -> Profile:
    """Reads a profile file of either kind; its name is the file's without `.toml`. Raises ProfileError."""
    try:
        data = path.read_bytes()
    except OSError as error:
        problem = f"the profile cannot be read ({error.strerror})"
        raise ProfileError(str(path), None, problem, "check the path and its permissions") from None
    return parse_any_profile(data, path.name)


def parse_any_profile(data: bytes, file: str) -> Profile:
    """Reads the content of `file`: registers when its `mode` says Modbus, else lines. Raises ProfileError."""
    try:
        mode = tomllib.loads(data.decode("utf-8")).get("mode")
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        mode = None  # the strict reader says what is wrong with it
    if isinstance(mode, str) and mode.lower().startswith("modbus"):
        return parse_modbus_profile(data, file)
    return parse_profile(data, file)


def parse_modbus_profile(data: bytes, file: str) -> ModbusProfile:
    """Reads a register map from the content of `file`. Raises ProfileError."""
    top = TomlSource(file, data).root(_TOP_KEYS)
    top.choice("mode", [MODBUS_MODE])
    quantity = Quantity(top.choice("quantity", [Quantity.PRESSURE]))
    value = _required(top, "value", _VALUE_KEYS)
    low, high = read_range(top)
    register = _register(value, list(RegisterType))
    return ModbusProfile(
        name=Path(file).stem,
        title=top.title("title"),
        quantity=quantity,
        unit=read_unit(top, quantity),
        suction=read_suction(top, quantity),
        unit_id=top.whole("unit_id", 1, 247),
        period_s=top.number("period_s", 0.01, 3600),
        silence_s=top.number("silence_s", 0.5, 600, 2.0),
        value=register,
        scale=_scale(value),
        overload=_marks(value, "overload", register),
        underload=_marks(value, "underload", register),
        minimum=low,
        maximum=high,
        status=_status(top, register),
        identity=_identity(top),
        serial=read_serial(top),
    )


def _required(top: TomlTable, key: str, keys: tuple[str, ...]) -> TomlTable:
    if key not in top:
        raise top.error(None, f"the table [{key}] is missing", f"add [{key}] with register, address and type")
    return top.table(key, keys)


def _register(table: TomlTable, types: Sequence[RegisterType]) -> Register:
    kind = RegisterType(table.choice("type", types))
    if "word_order" in table and kind.word_count == 1:
        raise table.error("word_order", f"one {kind} register has no word order", "leave word_order out")
    order = (
        WordOrder(table.choice("word_order", [*WordOrder])) if kind.word_count > 1 else WordOrder.HIGH_FIRST
    )
    return Register(
        kind=RegisterKind(table.choice("register", [*RegisterKind])),
        address=table.whole("address", 0, 65_536 - kind.word_count),
        type=kind,
        word_order=order,
    )


def _scale(value: TomlTable) -> float:
    scale = value.number("scale", -1e9, 1e9, 1.0)
    if scale <= 0:
        raise value.error("scale", f"scale is {scale:g}", "write a number above zero; suction gives the sign")
    return scale


def _marks(value: TomlTable, key: str, register: Register) -> tuple[int, ...]:
    """Whole numbers of the register that are no measurement."""
    if key in value and register.type is RegisterType.FLOAT32:
        advice = "leave it out; not-a-number is told from a number without it"
        raise value.error(key, f"{key} marks are for whole numbers, the type is float32", advice)
    return value.wholes(key, -(1 << 31), (1 << 32) - 1)


def _status(top: TomlTable, value: Register) -> StatusBits | None:
    if "status" not in top:
        return None
    table = top.table("status", _STATUS_KEYS)
    fault, overload, underload = (
        table.wholes(key, 0, 15) for key in ("fault_bits", "overload_bits", "underload_bits")
    )
    steady = table.whole("steady_bit", 0, 15) if "steady_bit" in table else None
    bits = [*fault, *overload, *underload, *(() if steady is None else (steady,))]
    if len(set(bits)) < len(bits):
        raise table.error(None, "a status bit has two meanings", "give each bit one")
    if not bits:
        raise table.error(None, "the status register has no bits", "name at least one, or leave [status] out")
    kind = RegisterKind(table.choice("register", [*RegisterKind]))
    register = Register(kind=kind, address=table.whole("address", 0, 65_535), type=RegisterType.UINT16)
    return StatusBits(
        register=register,
        with_value=_with_value(table, register, value),
        fault=fault,
        overload=overload,
        underload=underload,
        steady=steady,
    )


def _with_value(table: TomlTable, status: Register, value: Register) -> bool:
    """One request for both: they must stand in one table, near enough."""
    if not table.flag("with_value", False):
        return False
    if status.kind is not value.kind:
        raise table.error("with_value", f"the value is in a {value.kind} register", "set it to false")
    ends = (value.address, value.address + value.type.word_count - 1, status.address)
    if max(ends) - min(ends) >= _MOST_AT_ONCE:
        raise table.error(
            "with_value", "value and status are too far apart for one request", "set it to false"
        )
    return True


def _identity(top: TomlTable) -> Register | None:
    if "identity" not in top:
        return None
    return _register(top.table("identity", _REGISTER_KEYS), _WHOLE_TYPES)
