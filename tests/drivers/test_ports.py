from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.link_error import LinkError, LinkTrouble
from drivers.port_lock import locked_device, port_users
from drivers.ports import (
    PortInfo,
    bench_name,
    links_to,
    list_ports,
    ports_sentence,
    resolve_port,
    select_port,
)

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


TWO_PORTS = [
    PortInfo("/dev/ttyUSB4", "Two ports", "D4", "1-2:1.1"),
    PortInfo("/dev/ttyUSB5", "Two ports", "D4", "1-2:1.0"),
]


def _links(n: int) -> tuple[str, str]:
    return f"/dev/serial/by-id/x{n}", f"/dev/serial/by-path/p{n}"


TWINS = [
    PortInfo(
        f"/dev/ttyUSB{n}",
        "Bare",
        None,
        f"1-{n}",
        (f"/dev/serial/by-id/x{n}", f"/dev/serial/by-path/p{n}"),
        "1a86:7523",
    )
    for n in (6, 7)
]


def test_the_ports_of_one_adapter_are_told_apart_by_their_place() -> None:
    assert [bench_name(port, TWO_PORTS) for port in TWO_PORTS] == ["serial:D4#2", "serial:D4#1"]
    assert resolve_port("serial:D4#1", TWO_PORTS) == "/dev/ttyUSB5"
    assert resolve_port("serial:D4#2", TWO_PORTS) == "/dev/ttyUSB4"
    with pytest.raises(LinkError, match="has no port #3, it has 2"):
        resolve_port("serial:D4#3", TWO_PORTS)


def test_what_a_bench_file_says_finds_the_port_again_under_another_name() -> None:
    for port in PORTS[:1]:
        assert bench_name(port, PORTS) == "serial:A1"
        moved = replace(port, device="/dev/ttyUSB9")
        assert resolve_port(bench_name(port, PORTS), [*PORTS[1:], moved]) == "/dev/ttyUSB9"


def test_adapters_without_a_number_are_named_by_their_socket_when_they_are_twins() -> None:
    assert [bench_name(port, TWINS) for port in TWINS] == ["/dev/serial/by-path/p6", "/dev/serial/by-path/p7"]
    assert bench_name(TWINS[0], TWINS[:1]) == "/dev/serial/by-id/x6"
    assert bench_name(PORTS[3], PORTS) == "/dev/ttyS0"


def test_two_adapters_with_one_number_are_not_named_by_it() -> None:
    apart = [replace(port, location=f"1-{n}") for n, port in enumerate(PORTS[1:3])]

    assert [bench_name(port, apart) for port in apart] == ["/dev/ttyUSB1", "/dev/ttyUSB2"]


def test_links_follow_the_device_when_they_are_pointed_elsewhere(tmp_path: Path) -> None:
    first, second, folder = tmp_path / "tty0", tmp_path / "tty1", tmp_path / "by-id"
    folder.mkdir()
    for device in (first, second):
        device.touch()
    link = folder / "adapter"
    link.symlink_to(first)
    assert links_to(str(first), [folder, tmp_path / "none"]) == (str(link),)
    link.unlink()
    link.symlink_to(second)

    assert links_to(str(first), [folder]) == ()
    assert links_to(str(second), [folder]) == (str(link),)


def test_who_uses_a_port_is_seen_with_and_without_our_lock() -> None:
    master, slave = os.openpty()
    try:
        name = os.ttyname(slave)
        with locked_device(name):
            assert os.getpid() in [user.process for user in port_users(name)]
        assert [user.name for user in port_users(name) if user.process == os.getpid()] != [""]
    finally:
        os.close(slave)
        os.close(master)


def test_a_port_nobody_uses_has_no_user(tmp_path: Path) -> None:
    (tmp_path / "port").touch()

    assert port_users(str(tmp_path / "port")) == []


def test_a_machine_without_ports_says_so() -> None:
    assert ports_sentence([]) == "this machine shows no serial port now."


def test_the_ports_of_this_machine_can_be_listed() -> None:
    ports = list_ports()

    assert [port.device for port in ports] == sorted(port.device for port in ports)
    assert all(port.line().startswith(port.device) for port in ports)
