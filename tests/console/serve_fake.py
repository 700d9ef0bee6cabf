"""The fake service as a program, for tests in real terminals and for looking at.

`python -m tests.console.serve_fake SOCKET [EXAMPLE [moving]]`
"""

from __future__ import annotations

import asyncio
import sys
from dataclasses import replace
from pathlib import Path

from logger.core.snapshot import Snapshot
from tests.console import examples, kept_examples
from tests.console.fake_service import FakeService

BEAT_S = 0.25


def moved(snapshot: Snapshot, step: int) -> Snapshot:
    """Every figure a little different, as in a run."""
    assert snapshot.run is not None
    rate = replace(snapshot.run.rate, rate_pct_per_min=0.2 + 60 / (1 + step / 9), rate_u_pct_per_min=0.05)
    run = replace(
        snapshot.run,
        elapsed_s=BEAT_S * step,
        effective_s=BEAT_S * step,
        load_pct=100 / (1 + step / 99),
        rate=rate,
    )
    mass = replace(snapshot.mass, value_g=400 + (step * 37 % 1000) / 100)
    pressure = replace(snapshot.pressure, dp_pa=2480.0 + step * 13 % 50)
    links = tuple(replace(link, age_s=(step % 4) / 10) for link in snapshot.links)
    return replace(
        snapshot,
        run=run,
        mass=mass,
        pressure=pressure,
        links=links,
        utc=f"2031-05-02T09:{step // 240 % 60:02d}:{step // 4 % 60:02d}.000Z",
    )


async def main(path: Path, name: str, moving: bool) -> None:
    """Serves one example, four pictures a second, until killed."""
    service = FakeService(
        path, examples.ALL[name](), found=kept_examples.found, heartbeat_s=3600.0 if moving else BEAT_S
    )
    await service.start()
    first, step = service.snapshot, 0
    while True:
        await asyncio.sleep(BEAT_S)
        step += 1
        if moving:
            await service.show(moved(first, step))


if __name__ == "__main__":
    example = sys.argv[2] if len(sys.argv) > 2 else "sieving"
    asyncio.run(main(Path(sys.argv[1]), example, "moving" in sys.argv[3:]))
