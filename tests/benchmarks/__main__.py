"""`python -m tests.benchmarks [NAME...]`: the quick benchmarks one after the other, a line of JSON each."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable

from tests.benchmarks import drain_rate, estimator_rate, idle_cost, journal_rate, latency

ALL: dict[str, Callable[[], dict[str, float]]] = {
    "journal": journal_rate.measure,
    "drain": drain_rate.measure,
    "latency": latency.measure,
    "estimator": estimator_rate.measure,
    "idle": idle_cost.measure,
}


def main() -> int:
    """Measures what is named, or all."""
    names = sys.argv[1:] or list(ALL)
    unknown = [name for name in names if name not in ALL]
    if unknown:
        print(f"There is no benchmark {unknown[0]}; there are {', '.join(ALL)}.", file=sys.stderr)
        return 2
    for name in names:
        figures = {key: float(f"{value:.4g}") for key, value in ALL[name]().items()}
        print(json.dumps({"benchmark": name} | figures), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
