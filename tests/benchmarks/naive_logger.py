"""The usual forty-line logger: pyserial readline, a CSV file with flush, paho QoS 1 a line. A baseline only."""

from __future__ import annotations

import csv
import sys
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
import serial
from paho.mqtt.enums import CallbackAPIVersion


def log(port: str, name: str, end: bytes, client: mqtt.Client, folder: Path, end_s: float) -> None:
    """Reads one port until the end of the time; `end` ends a line."""
    with serial.Serial(port, 9600, timeout=1) as device, (folder / f"{name}.csv").open("w") as file:
        rows = csv.writer(file)
        while time.monotonic() < end_s:
            line = device.read_until(end).decode("ascii", "replace").strip()
            if not line:
                continue
            rows.writerow([time.time(), line])
            file.flush()
            client.publish(f"naive/{name}", f'{{"t": {time.time()}, "line": "{line}"}}', qos=1)


def main() -> None:
    """Arguments: mass port, pressure port, broker port, folder, seconds."""
    mass, pressure, broker, folder, seconds = sys.argv[1:]
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.connect("127.0.0.1", int(broker))
    client.loop_start()
    end_s = time.monotonic() + float(seconds)
    ports = [(mass, "mass", b"\r"), (pressure, "pressure", b"\n")]
    threads = [threading.Thread(target=log, args=(*port, client, Path(folder), end_s)) for port in ports]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    client.loop_stop()


if __name__ == "__main__":
    main()
