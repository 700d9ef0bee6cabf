from __future__ import annotations

from pathlib import Path

from drivers.port_lock import PortUser
from drivers.ports import PortInfo
from logger.app.ports import NO_PORTS, ports_listed, ports_page
from logger.settings import config_dir, load_bench

BENCH = config_dir() / "benches" / "demo-beside.toml"


def bench_with(tmp_path: Path, port: str) -> Path:
    path = tmp_path / "bench.toml"
    text = BENCH.read_text(encoding="utf-8").replace("/dev/serial/by-id/BALANCE", port)
    path.write_text(text, encoding="utf-8")
    return path


def test_each_port_says_what_it_is_what_to_write_and_who_has_it(tmp_path: Path) -> None:
    device = tmp_path / "ttyUSB3"
    device.touch()
    ports = [PortInfo(str(device), "Adapter", "K7", "1-3", (), "0403:6001", "Somebody", "Cable")]

    found = ports_listed(
        load_bench(bench_with(tmp_path, "serial:K7")), ports, lambda device: [PortUser(4711, "reader")]
    )

    assert found[0]["bench_name"] == "serial:K7"
    assert found[0]["for"] == ["balance"]
    page = ports_page(found)
    for words in ("USB 0403:6001", 'port = "serial:K7"', "used for balance", "open in process 4711 (reader)"):
        assert words in page


def test_a_link_in_the_bench_file_is_followed(tmp_path: Path) -> None:
    device, link = tmp_path / "ttyUSB3", tmp_path / "balance"
    device.touch()
    link.symlink_to(device)
    found = ports_listed(
        load_bench(bench_with(tmp_path, str(link))), [PortInfo(str(device), "x")], lambda device: []
    )

    assert found[0]["for"] == ["balance"]


def test_no_port_is_said() -> None:
    assert ports_page([]) == NO_PORTS


def test_a_port_that_the_system_cannot_describe_is_said_in_words(tmp_path: Path) -> None:
    page = ports_page(ports_listed(None, [PortInfo(str(tmp_path / "ttyS0"), "n/a")], lambda device: []))
    assert "no description" in page
    assert "n/a" not in page
