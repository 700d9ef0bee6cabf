from __future__ import annotations

import pytest

from drivers.link_error import LinkError, LinkTrouble
from drivers.ports import PortInfo, list_ports, ports_sentence, resolve_port, select_port

PORTS = [
    PortInfo("/dev/ttyUSB0", "Converter", "A1"),
    PortInfo("/dev/ttyUSB1", "Converter", "B2"),
    PortInfo("/dev/ttyUSB2", "Converter", "B2"),
    PortInfo("/dev/ttyS0", "Built in"),
]


def test_a_serial_number_finds_its_port_under_any_name() -> None:
    assert resolve_port("serial:A1", PORTS) == "/dev/ttyUSB0"
    moved = [PortInfo("/dev/ttyUSB7", "Converter", "A1")]
    assert resolve_port("serial:A1", moved) == "/dev/ttyUSB7"


@pytest.mark.parametrize("spec", ["/dev/serial/by-id/x", "socket://h:1", "COM3"])
def test_other_names_stay_as_they_are(spec: str) -> None:
    assert resolve_port(spec, PORTS) == spec


def test_an_unknown_serial_number_lists_what_there_is() -> None:
    with pytest.raises(LinkError) as caught:
        resolve_port("serial:Z9", PORTS)

    assert caught.value.trouble is LinkTrouble.ABSENT
    assert "no port has the serial number Z9" in caught.value.sentence
    assert "/dev/ttyUSB0 (Converter, serial number A1); " in caught.value.sentence
    assert "/dev/ttyS0 (Built in)." in caught.value.sentence


def test_two_ports_with_one_serial_number_are_refused() -> None:
    with pytest.raises(LinkError, match="/dev/ttyUSB1 and /dev/ttyUSB2 both have the serial number B2"):
        select_port("B2", PORTS)


def test_a_machine_without_ports_says_so() -> None:
    assert ports_sentence([]) == "this machine shows no serial port now."


def test_the_ports_of_this_machine_can_be_listed() -> None:
    ports = list_ports()

    assert [port.device for port in ports] == sorted(port.device for port in ports)
    assert all(port.line().startswith(port.device) for port in ports)
