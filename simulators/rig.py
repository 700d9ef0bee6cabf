"""The virtual rig: physics of one bench, and everything hands can do to it.

Time runs in ticks of 50 ms of bench time, so that the outcome does not depend on how often `advance` is
called; what hands do takes effect at the next tick. Each part draws from its own seeded noise source.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from simulators.physics.balance import Balance, BalanceInputs, BalanceOutput
from simulators.physics.extractor import ExtractorInputs, ExtractorOutputs, Suction, sieve_k, valve_for
from simulators.physics.powder import Bed, BedInputs, BedOutputs
from simulators.physics.transducer import PressureCell, PressureOutput
from simulators.scenarios import Arrangement, Scenario
from simulators.truth import Truth

TICK_S = 0.05
TRUTH_EVERY = 20

Place = Literal["bench", "balance", "rig"]

TOUCH_G = 0.8
"""A hand at the unit is felt by the platform under it; a light touch."""


class VirtualRig:
    """One rig, one balance, one sieve, one extractor. Masses in g, pressures in Pa, times in s of bench time."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.scenario = scenario
        extractor_rng, balance_rng, cell_rng, hands_rng = (
            np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(4)
        )
        self.truth = Truth()
        self._scatter = hands_rng
        self._suction = Suction(scenario.extractor, extractor_rng)
        self._balance = Balance(scenario.scale, balance_rng)
        self._cell = PressureCell(scenario.transducer, cell_rng)
        self._bed: Bed | None = None
        self._ticks = 0
        self._passed_before_g = 0.0
        self._housing_g = 0.0
        self.sieve_at: Place = "rig" if scenario.arrangement == "under" else "bench"
        self.other_on_pan_g = 0.0
        self.suction_is_on = False
        self.is_permitted = True
        self.lid_is_closed = True
        self.leak = 0.0
        self._sag = 0.0
        self._sag_until_s = 0.0
        spec = scenario.extractor
        self.valve = valve_for(spec, scenario.dp_nominal_pa, spec.filter_pa_per_m3h, sieve_k(spec, 1.0))
        self._air = ExtractorOutputs(0.0, 0.0, 0.0)
        self._pressure = PressureOutput(0.0, True)
        self._shown = self._balance.update(0.0, BalanceInputs(self._on_pan_g()))

    # --- time and what the instruments show -------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """Bench time of the last tick."""
        return self._ticks * TICK_S

    def advance(self, now_s: float) -> None:
        """Lets bench time run until `now_s`; going back is not possible and does nothing."""
        last = int(now_s / TICK_S + 1e-6)
        while self._ticks < last:
            self._ticks += 1
            self._tick(self._ticks * TICK_S)

    def balance(self) -> BalanceOutput:
        """What the balance shows now."""
        return self._shown

    def pressure(self) -> PressureOutput:
        """What the pressure transducer feels now."""
        return self._pressure

    def _tick(self, now_s: float) -> None:
        bed = self._bed
        self._air = self._suction.update(now_s, self._air_inputs(now_s))
        if bed is not None:
            dp_pa = self._air.dp_pa if self._sieve_is_closed() else 0.0
            self._note(now_s, bed.update(now_s, BedInputs(dp_pa, self.scenario.dp_nominal_pa)))
        self._pressure = self._cell.update(now_s, self._air.dp_pa)
        felt = self._air if self.arrangement == "under" else ExtractorOutputs(0.0, 0.0, 0.0)
        self._shown = self._balance.update(
            now_s, BalanceInputs(self._on_pan_g(), felt.dp_pa, felt.nozzle_turns)
        )

    def _note(self, now_s: float, out: BedOutputs) -> None:
        if self._ticks % TRUTH_EVERY == 0:
            self.truth.note(now_s, out.load_g, out.rate_g_per_min_nominal, self.charge_g)

    def _air_inputs(self, now_s: float) -> ExtractorInputs:
        bed = self._bed
        return ExtractorInputs(
            on=self.suction_is_on,
            valve=self.valve,
            sieve_closed=self._sieve_is_closed(),
            open_share=bed.open_share if bed else 1.0,
            passed_g=self._passed_before_g + (bed.passed_g if bed else 0.0),
            leak=self.leak,
            sag=self._sag if now_s < self._sag_until_s else 0.0,
        )

    def _sieve_is_closed(self) -> bool:
        return self.sieve_at == "rig" and self.lid_is_closed

    def _on_pan_g(self) -> float:
        pan_g = self.other_on_pan_g
        if self.arrangement == "under":
            pan_g += self._lid_dust_g() + self._housing_dust_g()
            return pan_g + (self.sieve_and_load_g if self.sieve_at == "rig" else 0.0)
        return pan_g + (self.sieve_and_load_g if self.sieve_at == "balance" else 0.0)

    def _lid_dust_g(self) -> float:
        return self._bed.lid_g if self._bed else 0.0

    def _housing_dust_g(self) -> float:
        passed_g = self._bed.passed_g if self._bed else 0.0
        return self._housing_g + self.scenario.housing_share * passed_g

    # --- what a look at the bench tells -----------------------------------------------------------------

    @property
    def arrangement(self) -> Arrangement:
        """Where the balance stands."""
        return self.scenario.arrangement

    @property
    def charge_g(self) -> float:
        """Powder poured on the sieve since it was last brushed."""
        return self._bed.charge_g if self._bed else 0.0

    @property
    def load_g(self) -> float:
        """Powder on the mesh now."""
        return self._bed.load_g if self._bed else 0.0

    @property
    def sieve_and_load_g(self) -> float:
        """The sieve with what lies on it."""
        return self.scenario.sieve_g + self.load_g

    @property
    def dp_pa(self) -> float:
        """True pressure across the sieve."""
        return self._air.dp_pa

    # --- hands ------------------------------------------------------------------------------------------

    def place_sieve(self) -> None:
        """Puts the empty, brushed sieve where it is weighed: on the balance, or on the unit that stands on it."""
        self.brush_sieve()
        self.sieve_to_balance()

    def sieve_to_balance(self) -> None:
        """Lifts the sieve with its load to the pan; under the rig it belongs on the unit itself."""
        if self.arrangement == "under":
            self.sieve_to_rig()
        else:
            self.sieve_at = "balance"

    def sieve_to_rig(self) -> None:
        """Puts the sieve on the rig and closes the lid."""
        self.sieve_at = "rig"
        self.lid_is_closed = True
        self._touched()

    def sieve_away(self) -> None:
        """Puts the sieve on the bench, off rig and balance."""
        self.sieve_at = "bench"

    def set_lid(self, closed: bool) -> None:
        """Opens or closes the lid; an open lid lets the pressure fall."""
        self.lid_is_closed = closed
        self._touched()

    def clear_pan(self) -> None:
        """Takes everything off the pan of a bench balance, and foreign things off a platform."""
        self.other_on_pan_g = 0.0
        if self.sieve_at == "balance":
            self.sieve_at = "bench"

    def take_foreign_things_off(self) -> None:
        """Takes foreign things off the pan and leaves the sieve where it is."""
        self.other_on_pan_g = 0.0

    def put_weight(self, mass_g: float) -> None:
        """Puts a check weight (or anything else) on the pan; a negative mass takes it off."""
        self.other_on_pan_g = max(self.other_on_pan_g + mass_g, 0.0)

    def pour_charge(self, mass_g: float | None = None) -> float:
        """Pours the test portion; without a mass as near to it as the operator gets. Returns what it was."""
        if mass_g is None:
            scenario = self.scenario
            mass_g = scenario.portion_g + scenario.charge_sd_g * float(self._scatter.standard_normal())
        self.add_powder(mass_g)
        return mass_g

    def add_powder(self, mass_g: float) -> None:
        """Adds fresh powder to the sieve; with no sieve at hand it lands on the pan."""
        if self.sieve_at == "bench":
            self.other_on_pan_g += mass_g
            return
        if self._bed is None:
            self._bed = Bed(self.scenario.powder, self.scenario.mesh, self.now_s)
        self._bed.add(mass_g)
        self._touched()

    def remove_powder(self, mass_g: float) -> float:
        """Takes (or spills) powder from the sieve, all sizes alike. Returns how much it was."""
        return self._bed.take(mass_g) if self._bed else 0.0

    def suction_on(self) -> None:
        """Switches the extractor and the nozzle on by hand; without a permit nothing happens."""
        self.suction_is_on = self.is_permitted
        self._touched()

    def suction_off(self) -> None:
        """Switches both off."""
        self.suction_is_on = False
        self._touched()

    def set_permit(self, is_in: bool) -> None:
        """The external relay pulled in or dropped out. It only stops: what it stopped stays off."""
        self.is_permitted = is_in
        self.suction_is_on = self.suction_is_on and is_in

    def set_valve(self, opening: float) -> None:
        """Opens the bleed valve to a share of 0 to 1: the wider, the lower the pressure."""
        self.valve = min(max(opening, 0.0), 1.0)
        self._touched()

    def turn_valve_to(self, dp_pa: float) -> None:
        """Turns the valve until the pressure is right, as a patient operator does."""
        through = sieve_k(self.scenario.extractor, self._bed.open_share if self._bed else 1.0)
        self.set_valve(valve_for(self.scenario.extractor, dp_pa, self._suction.filter_pa_per_m3h, through))

    def tap_lid(self) -> None:
        """Taps the lid: most of the dust under it falls back."""
        if self._bed and self.sieve_at == "rig":
            self._bed.tap_lid(0.8)
        self._touched(4.0)

    def brush_sieve(self) -> None:
        """Empties the sieve and brushes it and the lid clean; what lies in the housing stays there."""
        if self._bed is not None:
            self._passed_before_g += self._bed.passed_g
            self._housing_g = self._housing_dust_g()
            self._bed = None

    def crush_lumps(self) -> None:
        """Breaks the lumps on the sieve with the brush."""
        if self._bed:
            self._bed.crush_lumps(0.9)
        self._touched(4.0)

    def tare_pressed(self) -> None:
        """Presses the tare key of the balance."""
        self._balance.tare()

    def bump(self, knock_g: float = 20.0, shift_g: float = 0.0) -> None:
        """Knocks against the table or the unit; a shift stays (a hose that moved)."""
        self._balance.bump(knock_g, shift_g)

    def sag(self, share: float, seconds: float) -> None:
        """Lets the pressure fall by a share of 0 to 1 for some seconds, from now on."""
        self._sag = min(max(share, 0.0), 1.0)
        self._sag_until_s = self.now_s + seconds

    def _touched(self, knock_g: float = TOUCH_G) -> None:
        if self.arrangement == "under":
            self._balance.bump(knock_g)
