"""The permit output of a bench: from its table in the bench file to a driver."""

from __future__ import annotations

from collections.abc import Callable

from drivers.link_watch import LinkEvent
from drivers.permit import CoilRelay, LineRelay, PermitOutput
from drivers.profile import SerialSettings
from logger.settings.bench import PermitPort


def permit_output(
    table: PermitPort, now_ns: Callable[[], int], on_link: Callable[[LinkEvent], None]
) -> PermitOutput | None:
    """The output, ready to run; None when the bench has no relay."""
    if table.kind == "none":
        return None
    modbus = table.kind == "modbus"
    return PermitOutput(
        CoilRelay(table.unit_id, table.coil) if modbus else LineRelay(table.on_line, table.off_line),
        table.port,
        SerialSettings(
            baud=table.baud, bytesize=table.bytesize, parity=table.parity, stopbits=table.stopbits
        ),
        now_ns=now_ns,
        on_link=on_link,
        heartbeat_s=table.heartbeat_s,
    )
