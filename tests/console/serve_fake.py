"""The fake service as a program, for tests in real terminals and for looking at: serve_fake SOCKET [EXAMPLE]."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

from tests.console import examples
from tests.console.fake_service import FakeService


async def main(path: Path, name: str) -> None:
    """Serves one example, four pictures a second, until killed."""
    service = FakeService(path, examples.ALL[name](), heartbeat_s=0.25)
    await service.start()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "sieving"))
