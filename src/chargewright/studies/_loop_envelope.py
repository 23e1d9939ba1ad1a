"""The operating points at which a path's loops must be stable, as stage, ports and modulator over arrays."""

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution
from chargewright.loops.current_mode import Modulator
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Plant, points_of
from chargewright.loops.stage import BUCK, StagePoints, Topology, reachable
from chargewright.network.hardware import Hardware
from chargewright.network.stage import SwitchAt
from chargewright.parts.cell import tau1
from chargewright.parts.pack import pack_dc_resistance, pack_ocv, pack_resistance
from chargewright.parts.regulator import rails_loss
from chargewright.physics.capacitor import biased_capacitance
from chargewright.physics.conduction import resistance_at
from chargewright.physics.magnetics import saturating_inductance
from chargewright.sizing.build import DUTY_TURN, Bank, Build
from chargewright.studies.needs import Plan
from chargewright.studies.operate import Edge, source_limit, source_side
from chargewright.studies.situation import Situation

Floats = npt.NDArray[np.float64]
SOCS = (0.05, 0.5, 0.95)
WARMER = 40.0
"""How much warmer than a hot ambient the parts of the stage are taken [K] (common practice)."""
_STEPS = 60
_LEAST = 0.02
_WIRES = ("blocking-pair", "sense-source")


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """n operating points; the last one is the usual one with nominal parts."""

    charging: Plant
    resting: Plant | None
    """The same with the pack parted from the bus, which the stage alone holds; None for a path that has no such bus."""
    words: tuple[str, ...]
    """Each point in words."""
    left_out: int
    """Points that the stage cannot reach."""
    l_cable: Floats
    """Cable inductance at each point [H]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Corner:
    source: str
    edge: Edge
    soc: float
    i_pack: float
    full: bool
    temp: float
    l_sign: float
    c_sign: float
    p_load: float

    def words(self, busiest: bool) -> str:
        edge = {"low": "at its low edge", "typ": "", "high": "at its high edge"}[self.edge]
        sides = {-1.0: "low", 0.0: "nominal", 1.0: "high"}
        return ", ".join(
            (
                f"{self.source} {edge}".strip(),
                f"pack at {self.soc:.0%}",
                "full charge current" if self.full else "termination current",
                f"{self.temp - 273.15:.0f} °C",
                f"inductance {sides[self.l_sign]}, capacitance {sides[self.c_sign]}",
                "busiest load" if busiest else "calmest load",
            )
        )


def envelope(case: Situation, chosen: Plan, hardware: Hardware, build: Build, modulator: Modulator) -> Envelope:
    """Return every corner of source, pack, current, temperature, tolerance and load, and the usual point last.

    Raises NoSolution if the stage reaches none of them.
    """
    corners = _corners(case, chosen)
    words = [c.words(c.p_load >= case.p_busy) for c in corners]

    def column(name: str) -> Floats:
        return np.array([getattr(c, name) for c in corners], dtype=float)[:, None]

    feeds = [source_side(chosen.contracts[c.source], c.edge) for c in corners]
    e, r_source, r_cable = (np.array([f[k] for f in feeds])[:, None] for k in ("e_source", "r_source", "r_cable"))
    l_cable = np.array([chosen.contracts[c.source].l_cable for c in corners])[:, None]
    limit = np.array([source_limit(case, chosen.contracts[c.source]) for c in corners])[:, None]
    soc, temp, p_load = column("soc"), column("temp"), column("p_load")
    hot = temp + np.where(temp > case.design.ambient.typical, WARMER, 0.0)

    def wire(key: Any) -> Any:
        parts = hardware.wires.get(key)
        return resistance_at(parts.r_25, parts.temp_co, hot) if parts is not None else 0.0

    r_up = r_source + r_cable + sum(wire(k) for k in _WIRES)
    r_series = wire("sense-charge") + (wire("battery-switch") if chosen.path.narrow else 0.0)
    r_dc = pack_dc_resistance(case.pack, soc, temp, True)
    r_0 = pack_resistance(case.pack, soc, temp, True)
    at = _Feed(
        e=e, r_up=r_up, limit=limit, ocv=pack_ocv(case.pack, soc, temp), r_pack=r_dc + r_series, p_load=p_load,
        l_cable=l_cable, hot=hot, l_sign=column("l_sign"), c_sign=column("c_sign"),
    )  # fmt: skip
    r_1 = np.maximum(r_dc - r_0, 0.0)
    pack = Branch(
        r=r_0 + r_series,
        l=case.pack.lead_inductance,
        r_1=r_1,
        c_1=tau1(case.pack.cell, soc, temp) / np.where(r_1 > 0.0, r_1, 1.0),
    )
    charging, keep = _plant(case, chosen, hardware, build, modulator, at, column("i_pack"), pack, r_series)
    resting = None
    if chosen.path.narrow:
        resting, also = _plant(case, chosen, hardware, build, modulator, at, 0.0 * soc, None, 0.0)
        keep &= also
    if not np.any(keep):
        raise NoSolution(f"{chosen.path.title}: the stage reaches no operating point, so no loop can be judged")
    return Envelope(
        charging=points_of(charging, keep),
        resting=points_of(resting, keep) if resting is not None else None,
        words=tuple(w for w, k in zip(words, keep, strict=True) if k),
        left_out=int(np.sum(~keep)),
        l_cable=l_cable[keep, 0],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Feed:
    """What surrounds the stage at each corner, (n, 1)."""

    e: Any
    r_up: Any
    limit: Any
    ocv: Any
    r_pack: Any
    p_load: Any
    l_cable: Any
    hot: Any
    l_sign: Any
    c_sign: Any


def _plant(
    case: Situation,
    chosen: Plan,
    hardware: Hardware,
    build: Build,
    modulator: Modulator,
    at: _Feed,
    i_pack: Floats,
    pack: Branch | None,
    r_sense: Any,
) -> tuple[Plant, npt.NDArray[np.bool_]]:
    """Return the plant at all corners, and where its stage can stand; `pack` is None where none is joined."""
    narrow, parts = chosen.path.narrow, _parts(hardware, at.hot)
    least = _LEAST * case.i_charge if pack is not None else 0.0
    v_in, v_out, i_out = _steady(at, i_pack, parts["r_coil"] + parts["r_in_high"], hardware, narrow, least)
    topology, w = _topology(chosen.path.stage.legs == "buck", v_in, v_out)
    coil, i_coil = build.coil, i_out / w
    inductance = saturating_inductance(coil.l_0, i_coil, coil.i_sat, coil.sat_exponent)
    points = StagePoints(
        topology=topology,
        v_in=v_in,
        v_out=v_out,
        i_coil=i_coil,
        inductance=inductance * (1.0 + at.l_sign * coil.tol_l),
        period=1.0 / build.f_sw,
        **parts,
    )
    load = at.p_load + rails_loss(hardware.rails, v_out if narrow else v_in, at.p_load)
    source = Port(
        c=_capacitance(build.bank_a, v_in, at.c_sign),
        esr=build.bank_a.part.esr / build.bank_a.count,
        branch=Branch(r=at.r_up, l=at.l_cable),
        g_load=0.0 if narrow else -load / v_in**2,
    )
    output = Port(
        c=_capacitance(build.bank_b, v_out, at.c_sign),
        esr=build.bank_b.part.esr / build.bank_b.count,
        branch=pack,
        g_load=-load / v_out**2 if narrow else 0.0,
        r_sense=r_sense,
    )
    keep = np.ravel(reachable(points) & (v_in > 0.0) & np.isfinite(v_in) & (i_coil > 0.0))
    if chosen.path.stage.legs == "buck":
        keep &= np.ravel(v_out < case.design.rules.duty_max * v_in)
    return Plant(points=points, input=source, output=output, modulator=modulator), keep


def _corners(case: Situation, chosen: Plan) -> list[_Corner]:
    ambient = case.design.ambient
    calm = min(case.modes.values())
    loads = sorted({calm, case.p_busy})
    edges: tuple[Edge, ...] = ("low", "high")
    grid = itertools.product(
        chosen.contracts, edges, SOCS, (True, False), (ambient.cold, ambient.hot), (-1.0, 1.0), (-1.0, 1.0), loads
    )
    found = [
        _Corner(
            source=source, edge=edge, soc=soc, i_pack=case.i_charge if full else case.i_termination, full=full,
            temp=temp, l_sign=l_sign, c_sign=c_sign, p_load=p_load,
        )
        for source, edge, soc, full, temp, l_sign, c_sign, p_load in grid
    ]  # fmt: skip
    found.append(
        _Corner(
            source=chosen.strongest, edge="typ", soc=0.5, i_pack=case.i_charge, full=True, temp=ambient.typical,
            l_sign=0.0, c_sign=0.0, p_load=calm,
        )
    )  # fmt: skip
    return found


def _parts(hw: Hardware, hot: Floats) -> dict[str, Any]:
    stage = hw.stage

    def switch(part: SwitchAt | None, name: str) -> Any:
        return resistance_at(part.r_on, stage.hot[name].temp_co, hot) if part is not None else 0.0

    return {
        "r_coil": resistance_at(stage.coil.r_dc, stage.hot["coil"].temp_co, hot),
        "r_in_high": switch(stage.a_high, "a_high"),
        "r_in_low": switch(stage.a_low, "a_low"),
        "r_out_low": switch(stage.b_low, "b_low"),
        "r_out_high": switch(stage.b_high, "b_high"),
    }


def _steady(
    at: _Feed, i_pack: Any, r_stage: Any, hardware: Hardware, narrow: bool, least: float
) -> tuple[Floats, Floats, Floats]:
    """Return input and output voltage and output current of the stage, conduction losses counted.

    The charge gives way where the source would be beyond its limit. `network.solve` is the exact road; this one needs
    no parts' temperatures and takes all corners at once.
    """
    v_in = at.e + 0.0 * i_pack
    for _ in range(_STEPS):
        v_out = at.ocv + i_pack * at.r_pack
        load = at.p_load + rails_loss(hardware.rails, v_out if narrow else v_in, at.p_load)
        i_out = i_pack + (load / v_out if narrow else 0.0)
        i_coil = i_out * np.maximum(v_out / v_in, 1.0)
        i_source = (v_out * i_out + r_stage * i_coil**2 + (0.0 if narrow else load)) / v_in
        i_pack = np.maximum(i_pack - np.maximum(i_source - at.limit, 0.0) * v_in / v_out, least)
        v_in = np.maximum(0.5 * v_in + 0.5 * (at.e - at.r_up * i_source), 0.3 * at.e)
    return v_in, v_out, i_out


def _topology(buck: bool, v_in: Floats, v_out: Floats) -> tuple[Topology, Any]:
    """Return the topology of each point and the share of the period in which its coil feeds the output."""
    if buck:
        return BUCK, 1.0
    down, up = v_out <= DUTY_TURN * v_in, v_in <= DUTY_TURN * v_out
    # Near unity gain both legs switch; the output leg keeps its least pulse and the input leg is moved.
    w_0 = np.where(down | up, 1.0, DUTY_TURN)
    moved = np.where(up, 0.0, 1.0)
    return Topology(1.0 - moved, moved, w_0, moved - 1.0), np.where(up, v_in / v_out, w_0)


def _capacitance(bank: Bank, v: Floats, sign: Floats) -> Any:
    part = bank.part
    return bank.count * biased_capacitance(part.c_0, v, part.v_half, part.bias_exponent) * (1.0 + sign * part.tol_c)
