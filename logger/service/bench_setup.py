"""What one bench's service is made with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from logger.core.method import Method
from logger.core.readings import Channel
from logger.core.rig import Rig
from logger.core.run.live import LiveRate
from logger.core.run.plan import BenchPlan, RunPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSetup:
    """Plan, methods and ports of the bench. `live_rate` makes the estimator of live mode."""

    plan: BenchPlan
    methods: Mapping[str, Method]
    rig: Rig | None
    software: str
    speed: float
    simulated: bool
    live_rate: Callable[[RunPlan, float], LiveRate]
    publish_readings: bool = False
    ports: Mapping[Channel, str]
    profiles: Mapping[Channel, str]
