"""A build: the parts chosen for one power path, and the hardware record that the solver takes."""

from dataclasses import dataclass
from typing import Any

from chargewright.network.graph import Legs, WireKind
from chargewright.network.hardware import (
    COPPER_TEMP_CO,
    Hardware,
    HotPart,
    StageParts,
    WireParts,
    switch_at_25,
)
from chargewright.network.stage import CoilAt, Setting
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.inductor import Inductor
from chargewright.parts.regulator import Regulator
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.parts.switch import Switch
from chargewright.physics.capacitor import biased_capacitance
from chargewright.physics.magnetics import igse_coefficient
from chargewright.spec.rules import RulesSpec

R_DRIVER = 2.0
"""Resistance of an integrated gate driver [Ω], common practice."""
DUTY_TURN = 0.92
"""Duty beyond which a four-switch stage switches both legs: what minimum on and off times leave, common practice."""
SKIP_SHARE = 0.35
"""Least pulse over the full one before pulses are left out, common practice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bank:
    """Equal capacitors in parallel."""

    part: Capacitor
    count: int


def bank_capacitance(bank: Bank, v: Any, sign: Any = 0.0) -> Any:
    """Return the capacitance [F] that a bank has left under a direct voltage.

    v    : voltage across it [V]
    sign : where in the tolerance of its part: −1 the low end, 0 the middle, 1 the high end [1]; all broadcast
    """
    part = bank.part
    left = biased_capacitance(part.c_0, v, part.v_half, part.bias_exponent)
    return bank.count * left * (1.0 + sign * part.tol_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """The parts of one path. `a` is the source side; the b leg is None in a two-switch stage."""

    legs: Legs
    a_high: Switch
    a_low: Switch
    b_low: Switch | None
    b_high: Switch | None
    coil: Inductor
    f_sw: float
    bank_a: Bank
    bank_b: Bank
    sense_source: SenseResistor
    sense_charge: SenseResistor
    blocking: Switch
    """One of the two switches of the blocking pair."""
    battery: Switch | None
    """The battery switch; None for a path without."""

    def parts(self) -> tuple[tuple[str, str, int, float, float], ...]:
        """Return (place, part, count, cost each, area each) for every part, in the order of the power flow."""
        rows: list[tuple[str, str, int, float, float]] = [
            ("blocking pair", self.blocking.name, 2, self.blocking.cost, self.blocking.area),
            ("source sense resistor", self.sense_source.name, 1, self.sense_source.cost, self.sense_source.area),
            (
                "source-side capacitors",
                self.bank_a.part.name,
                self.bank_a.count,
                self.bank_a.part.cost,
                self.bank_a.part.area,
            ),
        ]
        for place, switch in (
            ("source-side high switch", self.a_high),
            ("source-side low switch", self.a_low),
            ("pack-side low switch", self.b_low),
            ("pack-side high switch", self.b_high),
        ):
            if switch is not None:
                rows.append((place, switch.name, 1, switch.cost, switch.area))
        rows.append(("inductor", self.coil.name, 1, self.coil.cost, self.coil.area))
        rows.append(
            (
                "pack-side capacitors",
                self.bank_b.part.name,
                self.bank_b.count,
                self.bank_b.part.cost,
                self.bank_b.part.area,
            )
        )
        rows.append(
            ("charge sense resistor", self.sense_charge.name, 1, self.sense_charge.cost, self.sense_charge.area)
        )
        if self.battery is not None:
            rows.append(("battery switch", self.battery.name, 1, self.battery.cost, self.battery.area))
        return tuple(rows)

    @property
    def cost(self) -> float:
        """Cost index of all parts [1]."""
        return sum(count * cost for _, _, count, cost, _ in self.parts())

    @property
    def area(self) -> float:
        """Board area of all parts [m²]."""
        return sum(count * area for _, _, count, _, area in self.parts())


def coil_at_25(coil: Inductor) -> CoilAt:
    """Return a catalogue inductor as the stage takes it, at 25 °C."""
    return CoilAt(
        coil.l_0,
        coil.i_sat,
        coil.sat_exponent,
        coil.dcr_25,
        coil.ac_ratio,
        coil.f_ref,
        igse_coefficient(coil.k_core, coil.alpha, coil.beta),
        coil.alpha,
        coil.beta,
        coil.volume,
        coil.turns_area,
    )


def setting_of(rules: RulesSpec, f_sw: float, esr_in: float, esr_out: float) -> Setting:
    """Return how the stage is driven under the design's rules; `legs` is set by the solver."""
    return Setting(
        legs=0.0,
        f_sw=f_sw,
        t_dead=rules.dead_time,
        v_drive=rules.v_drive,
        i_quiescent=rules.i_quiescent,
        duty_turn=DUTY_TURN,
        phase=0.5,
        emulate=1.0,
        skip=SKIP_SHARE,
        esr_in=esr_in,
        esr_out=esr_out,
    )


def hardware_of(build: Build, rails: tuple[Regulator, ...], rules: RulesSpec, r_board: float) -> Hardware:
    """Return the solver's record of a build with its rails."""
    v = rules.v_drive
    switches = {"a_high": build.a_high, "a_low": build.a_low, "b_low": build.b_low, "b_high": build.b_high}
    hot = {k: HotPart(temp_co=s.r_on_temp_co, rth=s.rth_jb) for k, s in switches.items() if s is not None}
    hot["coil"] = HotPart(temp_co=COPPER_TEMP_CO, rth=build.coil.rth)
    wires: dict[WireKind, WireParts] = {
        "blocking-pair": WireParts(
            r_25=2.0 * build.blocking.r_on_25,
            temp_co=build.blocking.r_on_temp_co,
            rth=build.blocking.rth_jb,
            bodies=2,
            v_diode=build.blocking.v_f,
        ),
        "sense-source": _resistor(build.sense_source),
        "sense-charge": _resistor(build.sense_charge),
    }
    if build.battery is not None:
        wires["battery-switch"] = WireParts(
            r_25=build.battery.r_on_25,
            temp_co=build.battery.r_on_temp_co,
            rth=build.battery.rth_jb,
            v_diode=build.battery.v_f,
        )
    stage = StageParts(
        a_high=switch_at_25(build.a_high, R_DRIVER, v),
        a_low=switch_at_25(build.a_low, R_DRIVER, v),
        b_low=None if build.b_low is None else switch_at_25(build.b_low, R_DRIVER, v),
        b_high=None if build.b_high is None else switch_at_25(build.b_high, R_DRIVER, v),
        coil=coil_at_25(build.coil),
        setting=setting_of(
            rules, build.f_sw, build.bank_a.part.esr / build.bank_a.count, build.bank_b.part.esr / build.bank_b.count
        ),
        hot=hot,
    )
    return Hardware(wires=wires, stage=stage, rails=rails, r_board=r_board)


def _resistor(part: SenseResistor) -> WireParts:
    return WireParts(r_25=part.r, temp_co=part.temp_co, rth=part.rth)
