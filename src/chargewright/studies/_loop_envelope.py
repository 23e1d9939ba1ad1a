"""The operating points at which a path's loops must be stable, as stage, ports and modulator over arrays.

Voltages, currents and temperatures are those of `network.solve`, as everywhere in the study; what is added here is what
small changes meet: the pack at once and with its RC pair, the cable's inductance, capacitors under bias, loads of
constant power.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.loops.current_mode import Modulator, VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Plant
from chargewright.loops.near_unity import least_current
from chargewright.loops.stage import BOOST, BUCK, StagePoints, Topology
from chargewright.network.graph import Legs, StateKey, WireKind
from chargewright.network.hardware import Hardware
from chargewright.network.solve import Conditions, Solution, solve
from chargewright.parts.cell import tau1
from chargewright.parts.pack import pack_dc_resistance, pack_ocv, pack_resistance
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.physics.capacitor import joined_esr
from chargewright.physics.conduction import resistance_at
from chargewright.physics.magnetics import saturating_inductance
from chargewright.sizing.build import DUTY_TURN, Bank, Build, bank_capacitance
from chargewright.studies._loop_corners import Corner, Grid, Mode, grid_of
from chargewright.studies.needs import Plan
from chargewright.studies.operate import in_dropout, source_limit, source_side
from chargewright.studies.situation import Situation

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
_LEAST = 0.02
"""Least charge current over the full one at which a point still counts as charging [1] (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Where the points of an envelope lie, for tables and charts; arrays (n,)."""

    source: tuple[str, ...]
    feed: tuple[str, ...]
    """Source and edge in a few words, or the load where the pack alone feeds."""
    level: tuple[str, ...]
    """The pack, or the bus that is held, in a few words."""
    v_in: Floats
    """At the input of the stage in the way in which it works [V]."""
    v_out: Floats
    v_pack: Floats
    """Pack at rest [V]."""
    i_pack: Floats
    p_load: Floats
    temp: Floats
    l_sign: Floats
    """−1 … 1: lower end of the inductance's tolerance to its upper end [1]."""
    c_sign: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """n operating points of one mode; the last one is the usual one with nominal parts if the stage reaches it."""

    mode: Mode
    plant: Plant
    words: tuple[str, ...]
    """Each point in words."""
    where: Where
    left_out: int
    """Points that the stage cannot reach, or at which it works in another mode."""
    l_input: Floats
    """Inductance of cable or lead at the input of the stage at each point [H]."""
    reverse: bool
    """Whether the stage runs from the pack to the bus."""


def envelope(
    mode: Mode, case: Situation, chosen: Plan, hardware: Hardware, build: Build, modulator: Modulator
) -> Envelope | None:
    """Return every corner of a mode and its usual point last; None for a path without it, or if none is reached."""
    grid = grid_of(mode, case, chosen)
    solved = _solved(mode, case, chosen, hardware, grid.corners)
    if solved is None:
        return None
    n, keep = len(grid.of), solved.here[grid.of]
    if not np.any(keep):
        return None
    grid = grid.only(keep)
    corners = [grid.corners[k] for k in grid.of]
    s = solved.at(grid.of)
    plant = _plant(case, chosen, hardware, build, s, grid, corners)
    cables = [case.pack.lead_inductance if s.reverse else chosen.contracts[c.source].l_cable for c in corners]
    return Envelope(
        mode=mode,
        plant=replace(plant, modulator=modulator),
        words=grid.words,
        where=Where(
            source=tuple(c.source for c in corners),
            feed=tuple(c.feed() for c in corners),
            level=tuple(c.level(mode) for c in corners),
            v_in=s.v["v_in"],
            v_out=s.v["v_out"],
            v_pack=s.v["ocv"],
            i_pack=s.v["i_pack"],
            p_load=np.array([c.p_load for c in corners]),
            temp=np.array([c.temp for c in corners]),
            l_sign=grid.l_sign,
            c_sign=grid.c_sign,
        ),
        left_out=n - len(corners),
        l_input=np.array(cables),
        reverse=s.reverse,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Points:
    """What the network says about each corner; arrays (n,)."""

    reverse: bool
    here: Bools
    """Where the stage works in the mode that was asked for."""
    v: dict[str, Floats]
    temp: dict[str, Floats]

    def at(self, of: npt.NDArray[np.int64]) -> "_Points":
        """Return chosen points, also several times."""
        return _Points(
            reverse=self.reverse,
            here=self.here[of],
            v={k: x[of] for k, x in self.v.items()},
            temp={k: x[of] for k, x in self.temp.items()},
        )


_STATES: dict[Mode, tuple[StateKey, ...]] = {
    "charging": ("charging", "shared"),
    "resting": ("no-pack",),
    "helping": ("supplement",),
    "boosting": ("battery-boost",),
}
"""Which state a mode is solved in; the second where the source would be past its limit in the first."""


def _solved(
    mode: Mode, case: Situation, chosen: Plan, hardware: Hardware, corners: tuple[Corner, ...]
) -> _Points | None:
    path = chosen.path
    states = [s for s in (path.state(key) for key in _STATES[mode]) if s is not None and s.stage != "off"]
    if not states:
        return None
    c = _conditions(mode, case, chosen, corners)
    found = _read(case, solve(path, states[0], hardware, c))
    past = ~found.here | (found.v["i_source"] > c.i_source * (1.0 + 1e-9))
    if len(states) > 1 and np.any(past):
        beyond = Conditions(**{k: getattr(c, k)[past] for k in Conditions.__dataclass_fields__})
        second = _read(case, solve(path, states[1], hardware, beyond))
        for mine, other in ((found.v, second.v), (found.temp, second.temp)):
            for key, values in other.items():
                mine[key][past] = values
        found.here[past] = second.here
    if mode == "charging":
        found.here[:] &= found.v["i_pack"] >= _LEAST * case.i_charge
    if mode == "helping":
        found.here[:] &= found.v["i_pack"] < 0.0
    return found


def _conditions(mode: Mode, case: Situation, chosen: Plan, corners: tuple[Corner, ...]) -> Conditions:
    """Return the solver's conditions of all corners, every field an array (n,)."""
    nothing = {"e_source": 0.0, "r_source": 0.0, "r_cable": 0.0}
    fed = [source_side(chosen.contracts[c.source], c.edge) if c.source else nothing for c in corners]
    soc, temp = (np.array([getattr(c, k) for c in corners]) for k in ("soc", "temp"))
    return Conditions(
        **{k: np.array([f[k] for f in fed]) for k in nothing},
        e_cells=pack_ocv(case.pack, soc, temp),
        r_pack=pack_dc_resistance(case.pack, soc, temp, mode == "charging"),
        p_load=np.array([c.p_load for c in corners]),
        i_source=np.array([source_limit(case, chosen.contracts[c.source]) if c.source else 0.0 for c in corners]),
        i_pack=np.array([c.i_pack for c in corners]),
        v_bus=np.array([c.v_bus for c in corners]),
        temp_ambient=temp,
    )


def _read(case: Situation, s: Solution) -> _Points:
    reverse, w, c = s.state.stage == "reverse", s.waveform, s.conditions
    a, b = s.v[s.path.stage.a], s.v[s.path.stage.b]
    given = -s.i_a if reverse else s.i_b
    none = np.zeros(len(s.status))
    v = {
        "v_in": b if reverse else a,
        "v_out": a if reverse else b,
        "v_load": s.v[s.path.load_at],
        "i_coil": given / (1.0 - w.d_out),
        "i_pack": s.i.get("pack", none),
        "i_source": s.i.get("source", none),
        "p_bus": s.p_load + s.p_rails,
        "d_in": w.d_in,
        "d_out": w.d_out,
        "ocv": c.e_cells,
        "r_up": c.r_source + c.r_cable,
        "r_dc": c.r_pack,
    }
    return _Points(
        reverse=reverse,
        here=s.ok & ~in_dropout(case, s) & (given > 0.0),
        v={k: np.array(x, dtype=float) for k, x in v.items()},
        temp={k: np.array(x, dtype=float) for k, x in s.temp.items()},
    )


_UP: tuple[WireKind, ...] = ("blocking-pair", "sense-source")


def _plant(
    case: Situation,
    chosen: Plan,
    hardware: Hardware,
    build: Build,
    s: _Points,
    grid: Grid,
    corners: list[Corner],
) -> Plant:
    """Return the plant at all points, (n, 1)."""
    path, mode = chosen.path, grid.mode
    v = {k: x[:, None] for k, x in s.v.items()}
    l_sign, c_sign = grid.l_sign[:, None], grid.c_sign[:, None]
    soc, cell_temp = (np.array([getattr(c, k) for c in corners])[:, None] for k in ("soc", "temp"))

    def wire(key: WireKind) -> Any:
        parts = hardware.wires.get(key)
        there = parts is not None and key in s.temp
        return resistance_at(parts.r_25, parts.temp_co, s.temp[key][:, None]) if parts and there else 0.0

    source = None
    if mode != "boosting":
        cable = np.array([chosen.contracts[c.source].l_cable for c in corners])[:, None]
        source = Branch(r=v["r_up"] + sum(wire(key) for key in _UP), l=cable)
    pack, r_sense = None, 0.0
    if mode != "resting":
        r_sense = wire("sense-charge") + (wire("battery-switch") if path.narrow else 0.0)
        r_0 = pack_resistance(case.pack, soc, cell_temp, mode == "charging")
        r_1 = np.maximum(v["r_dc"] - r_0, 0.0)
        slow = tau1(case.pack.cell, soc, cell_temp) / np.where(r_1 > 0.0, r_1, 1.0)
        pack = Branch(r=r_0 + r_sense, l=case.pack.lead_inductance, r_1=r_1, c_1=slow)
    rails = rail_inputs(chosen.rails)
    taken = -v["p_bus"] / v["v_load"] ** 2
    at_a, at_b = (v["v_out"], v["v_in"]) if s.reverse else (v["v_in"], v["v_out"])
    at_bus = _Rails(g=taken, c=rails.c + c_sign * (rails.c_high - rails.c), esr=rails.esr)
    side_a = _port(build.bank_a, at_a, c_sign, source, None if path.narrow else at_bus, 0.0)
    side_b = _port(build.bank_b, at_b, c_sign, pack, at_bus if path.narrow else None, r_sense)
    coil = build.coil
    inductance = saturating_inductance(coil.l_0, v["i_coil"], coil.i_sat, coil.sat_exponent)
    inductance = inductance * (1.0 + l_sign * coil.tol_l)
    points = StagePoints(
        topology=_topology(path.stage.legs, s.reverse, v, inductance, 1.0 / build.f_sw),
        v_in=v["v_in"],
        v_out=v["v_out"],
        i_coil=v["i_coil"],
        inductance=inductance,
        period=1.0 / build.f_sw,
        **_resistances(hardware, s),
    )
    ports = (side_b, side_a) if s.reverse else (side_a, side_b)
    return Plant(points=points, input=ports[0], output=ports[1], modulator=VoltageMode())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rails:
    """What hangs on the side of the stage that the bus is on."""

    g: Any
    """Of the constant power that the rails take [1/Ω]."""
    c: Any
    """At their inputs [F]."""
    esr: float


def _port(bank: Bank, v: Floats, sign: Floats, branch: Branch | None, rails: _Rails | None, r_sense: Any) -> Port:
    c, esr = bank_capacitance(bank, v, sign), bank.part.esr / bank.count
    if rails is None:
        return Port(c=c, esr=esr, branch=branch, r_sense=r_sense)
    joined = joined_esr.raw(c, esr, rails.c, rails.esr)
    return Port(c=c + rails.c, esr=joined, branch=branch, g_load=rails.g, r_sense=r_sense)


def _resistances(hw: Hardware, s: _Points) -> dict[str, Any]:
    """Return the stage's resistances at their temperatures, by the part that they play in the power flow."""
    stage = hw.stage

    def at(name: str, r: Any) -> Any:
        return resistance_at(r, stage.hot[name].temp_co, s.temp[name][:, None])

    places = {"in_high": "b_high", "in_low": "b_low", "out_low": "a_low", "out_high": "a_high"}
    if not s.reverse:
        places = {"in_high": "a_high", "in_low": "a_low", "out_low": "b_low", "out_high": "b_high"}
    found = {"r_coil": at("coil", stage.coil.r_dc)}
    for role, name in places.items():
        part = getattr(stage, name)
        found[f"r_{role}"] = at(name, part.r_on) if part is not None else 0.0
    return found


def _topology(legs: Legs, reverse: bool, v: dict[str, Floats], inductance: Floats, period: float) -> Topology:
    """Return which legs switch at each point and which of them the control moves, as the network solved it."""
    if legs == "buck":
        return BOOST if reverse else BUCK
    down, up = v["d_out"] == 0.0, v["d_in"] >= 1.0
    # Near unity gain both legs switch: the output leg keeps its least pulse and the input leg is moved.
    # Where their least pulses would carry more than the current, both pulse together.
    least = least_current(v["v_in"], v["v_out"], 1.0 - DUTY_TURN, period / inductance)
    together = ~down & ~up & (v["i_coil"] < least)
    moved = np.where(up, 0.0, 1.0)
    kept = np.where(down | up | together, 1.0, DUTY_TURN)
    return Topology(1.0 - moved, moved, kept, np.where(up | together, -1.0, 0.0))
