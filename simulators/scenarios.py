"""Powders of our own invention, each with a sieve, a rig and a balance. No real material is meant by any of them.

Every scenario runs in both arrangements: `beside` (bench balance beside the rig) and `under` (the whole
sieving unit on a platform). The larger charge of `under` makes up for its coarser reading.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field, replace
from typing import Literal

from simulators.physics.balance import Scale
from simulators.physics.extractor import Extractor
from simulators.physics.mesh import Mesh
from simulators.physics.powder import Mode, Powder
from simulators.physics.transducer import Transducer

Arrangement = Literal["beside", "under"]

BENCH_BALANCE = Scale(
    readability_g=0.001,
    capacity_g=620.0,
    lowest_g=-50.0,
    filter_s=0.22,
    white_sd_g=0.0003,
    flicker_rms_g=0.0004,
    drift_g_per_min=0.00005,
    stable_digits=3.0,
)

PLATFORM = Scale(
    readability_g=0.01,
    capacity_g=32_000.0,
    lowest_g=-500.0,
    filter_s=0.3,
    white_sd_g=0.006,
    flicker_rms_g=0.003,
    drift_g_per_min=0.0003,
    dead_load_g=9_400.0,
    coupling_g_per_kpa=0.35,
    coupling2_g_per_kpa2=0.015,
    wobble1_g_per_kpa=0.012,
    wobble2_g_per_kpa=0.005,
    jet_noise_g_per_kpa=0.003,
    stable_digits=5.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """All that is fixed before the first hand moves. `charge_sd_g` is how well the operator weighs in."""

    name: str
    title: str
    powder: Powder
    mesh: Mesh
    arrangement: Arrangement = "beside"
    charge_g: float = 25.0
    charge_under_g: float = 50.0
    charge_sd_g: float = 0.08
    sieve_g: float = 386.214
    dp_nominal_pa: float = 2500.0
    housing_share: float = 0.0
    """Share of the passed powder that stays in the housing; under the rig it stays on the platform."""
    extractor: Extractor = field(default_factory=Extractor)
    transducer: Transducer = field(default_factory=Transducer)
    bench_balance: Scale = BENCH_BALANCE
    platform: Scale = PLATFORM

    @property
    def scale(self) -> Scale:
        """The balance of this arrangement."""
        return self.platform if self.arrangement == "under" else self.bench_balance

    @property
    def portion_g(self) -> float:
        """The test portion the operator aims at."""
        return self.charge_under_g if self.arrangement == "under" else self.charge_g


def _powder(fine: Mode, coarse: Mode, passing_per_min: float, **more: float) -> Powder:
    return Powder(modes=(fine, coarse), passing_per_min=passing_per_min, **more)


def _modes(fine_um: float, fine_sigma: float, coarse_share: float, coarse_um: float) -> tuple[Mode, Mode]:
    return (
        Mode(share=1.0 - coarse_share, d50_um=fine_um, sigma_g=fine_sigma),
        Mode(share=coarse_share, d50_um=coarse_um, sigma_g=1.6),
    )


_MESH_45 = Mesh(aperture_um=45.0, aperture_sd_um=2.2)
_MESH_63 = Mesh(aperture_um=63.0, aperture_sd_um=2.6)

_ALL = (
    Scenario(
        name="demo-filler",
        title="mineral filler on 45 µm, a near-mesh tail, done after about nine minutes",
        powder=_powder(*_modes(11.0, 1.9, 0.10, 75.0), 6.0),
        mesh=_MESH_45,
    ),
    Scenario(
        name="easy",
        title="free-flowing filler on 63 µm, a sharp cut, done in about five minutes",
        powder=_powder(*_modes(9.0, 1.9, 0.08, 110.0), 4.5),
        mesh=_MESH_63,
    ),
    Scenario(
        name="slow-tail",
        title="ground mineral on 45 µm with much near-mesh material: the tail is long",
        powder=_powder(*_modes(17.0, 2.0, 0.02, 90.0), 6.0),
        mesh=_MESH_45,
    ),
    Scenario(
        name="agglomerates",
        title="cohesive excipient on 63 µm: lumps break up slowly",
        powder=_powder(
            *_modes(12.0, 1.8, 0.05, 130.0),
            5.0,
            agglomerate_share=0.10,
            breaking_per_min=0.35,
            lid_share=0.004,
        ),
        mesh=_MESH_63,
    ),
    Scenario(
        name="blinding",
        title="platelets on 45 µm: the mesh blinds while they pass",
        powder=_powder(*_modes(14.0, 1.9, 0.06, 80.0), 6.0, blinding_per_min=8.0, clearing_per_min=0.25),
        mesh=_MESH_45,
    ),
    Scenario(
        name="friable",
        title="friable granules on 63 µm: they wear for ever, the endpoint never comes",
        powder=_powder(*_modes(14.0, 1.8, 0.45, 160.0), 5.0, attrition_per_min=0.006),
        mesh=_MESH_63,
    ),
    Scenario(
        name="coarse",
        title="polymer powder on 125 µm, heavy residue",
        powder=_powder(*_modes(45.0, 1.6, 0.55, 260.0), 5.0),
        mesh=Mesh(aperture_um=125.0, aperture_sd_um=4.5),
        charge_g=50.0,
        charge_under_g=100.0,
    ),
    Scenario(
        name="tiny-residue",
        title="very fine food powder on 63 µm: hardly anything stays",
        powder=_powder(*_modes(8.0, 1.7, 0.003, 90.0), 4.0),
        mesh=_MESH_63,
        charge_g=20.0,
    ),
    Scenario(
        name="humid",
        title="damp filler on 45 µm: sticks, blinds and dries in the air stream",
        powder=_powder(
            *_modes(12.0, 1.9, 0.08, 80.0),
            4.0,
            agglomerate_share=0.06,
            breaking_per_min=0.25,
            blinding_per_min=6.0,
            water_share=0.006,
            drying_per_min=0.35,
            lid_share=0.005,
        ),
        mesh=_MESH_45,
    ),
    Scenario(
        name="loading-filter",
        title="demo filler with a filter that loads quickly: the pressure leaves its band",
        powder=_powder(*_modes(11.0, 1.9, 0.10, 75.0), 6.0),
        mesh=_MESH_45,
        extractor=Extractor(filter_gain_per_g=0.03, filter_gain_per_h=6.0),
    ),
    Scenario(
        name="dusty-housing",
        title="demo filler in a rig that keeps a little dust in its housing",
        powder=_powder(*_modes(11.0, 1.9, 0.10, 75.0), 6.0),
        mesh=_MESH_45,
        housing_share=0.002,
    ),
    Scenario(
        name="noisy-platform",
        title="demo filler on a platform in a draughty room",
        arrangement="under",
        powder=_powder(*_modes(11.0, 1.9, 0.10, 75.0), 6.0),
        mesh=_MESH_45,
        platform=replace(
            PLATFORM,
            white_sd_g=0.02,
            flicker_rms_g=0.012,
            wobble1_g_per_kpa=0.04,
            wobble2_g_per_kpa=0.02,
            stable_digits=15.0,
        ),
    ),
)

SCENARIOS = {scenario.name: scenario for scenario in _ALL}


class UnknownScenarioError(ValueError):
    """A scenario that does not exist; the text names the nearest and all others."""


def find_scenario(name: str, arrangement: Arrangement | None = None) -> Scenario:
    """The scenario of that name, in its own arrangement or the one asked for. Raises UnknownScenarioError."""
    scenario = SCENARIOS.get(name)
    if scenario is None:
        near = difflib.get_close_matches(name, SCENARIOS, n=1, cutoff=0.4)
        hint = f"did you mean {near[0]}? " if near else ""
        raise UnknownScenarioError(f"there is no scenario {name!r}; {hint}There are: {', '.join(SCENARIOS)}")
    return scenario if arrangement is None else replace(scenario, arrangement=arrangement)
