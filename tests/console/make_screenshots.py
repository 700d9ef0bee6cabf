"""Draws every screen to SVG and PNG: `python -m tests.console.make_screenshots [FOLDER]`.

The PNGs need cairosvg and the DejaVu Sans Mono font.
"""

from __future__ import annotations

import asyncio
import importlib
import math
import re
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from logger.console.app import ConsoleApp
from logger.console.places import PLACES
from logger.core.snapshot import Snapshot
from logger.service.client import ServiceClient
from tests.console import examples, kept_examples
from tests.console.fake_service import serving

FONT = "DejaVu Sans Mono"
KEYS = {
    "help": ["?"],
    "new_run": ["n"],
    "cautions": ["c"],
    "events": ["e"],
    "leave": ["q"],
    "stop": ["s"],
    "places": ["g"],
    **{place.word: ["g", place.key] for place in PLACES},
    "run": ["g", "h", "wait:800", "enter", "wait:800"],
    "pressure_zero": ["g", "s", "z"],
    "balance_check": ["g", "s", "c"],
}
STATES = {"new_run": "idle", "cautions": "cautions_due"} | dict.fromkeys(
    ("shift", "worklist", "pressure_zero", "balance_check", "history", "run", "review", "chart"), "idle"
)


def history() -> dict[str, Any]:
    """Three minutes of a run: a falling load with a little wobble, a pressure with a sag."""
    t_s = [each / 2 for each in range(0, 369)]
    load = [50.12 * (0.19 + 0.81 * math.exp(-t / 37)) + 0.05 * math.sin(t * 1.7) for t in t_s]
    sag = [900 * math.exp(-(((t - 95) / 6) ** 2)) for t in t_s]
    dp = [2490 * (1 - math.exp(-t / 2.5)) - low + 30 * math.sin(t) for t, low in zip(t_s, sag, strict=True)]
    slope = [81.0 / 37 * math.exp(-t / 37) * 60 for t in t_s]
    rate = [None if t < 8 else each * (1 + 0.05 * math.sin(t)) for t, each in zip(t_s, slope, strict=True)]
    rate_u = [None if each is None else 0.06 + 0.04 * each for each in rate]
    return {
        "t_s": t_s,
        "mass_g": load,
        "load_g": load,
        "dp_pa": dp,
        "rate_pct_per_min": rate,
        "rate_u_pct_per_min": rate_u,
    }


async def shoot(name: str, snapshot: Snapshot, size: tuple[int, int], keys: list[str]) -> str:
    """One screen as SVG text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.sock"
        async with serving(path, snapshot, history=history(), found=kept_examples.found):
            app = ConsoleApp(ServiceClient(path), "j.tester")
            async with app.run_test(size=size) as pilot:
                while app.board is None:
                    await pilot.pause(0.05)
                await pilot.pause(0.3)
                await pilot.press(*keys)
                await pilot.pause(0.6)
                return app.export_screenshot(title=name)


def save(svg: str, target: Path) -> None:
    """SVG without the drawn window buttons; PNG with a font that this machine has."""
    svg = re.sub(r"<circle[^>]*/>", "", svg)
    target.with_suffix(".svg").write_text(svg, encoding="utf-8")
    try:
        cairosvg = importlib.import_module("cairosvg")
    except ImportError:
        print("cairosvg is not installed: SVG only")
        return
    local = svg.replace("Fira Code", FONT)
    cairosvg.svg2png(bytestring=local.encode("utf-8"), write_to=str(target.with_suffix(".png")), scale=1.0)


async def main(folder: Path, wanted: list[str]) -> None:
    """All screens at both sizes, or the wanted ones. Every place is among them."""
    makers: dict[str, Callable[[], Snapshot]] = dict(examples.ALL)
    for name in [*examples.ALL, *KEYS]:
        for size in ((80, 24), (140, 45)):
            label = f"{name}-{size[0]}x{size[1]}"
            if wanted and name not in wanted:
                continue
            snapshot = makers[STATES.get(name, name if name in makers else "sieving")]()
            save(await shoot(label, snapshot, size, KEYS.get(name, [])), folder / label)
            print(label)


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path("screenshots")
    target.mkdir(parents=True, exist_ok=True)
    asyncio.run(main(target, sys.argv[2:]))
