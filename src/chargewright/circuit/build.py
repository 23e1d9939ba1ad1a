"""A switched circuit from a path, an operating state and its hardware, so that nothing is entered twice.

The network solver gives temperatures, duties and where everything stands; this adds what a steady state does not have:
capacitances, cable and lead inductance, the pack's RC pairs. Overlap, gate drive, recovery and core are no part of a
circuit of resistances, so it loses a little less than the solver says.

Names: `source`, `r_source`, `r_cable`, `l_cable`, then `r_` and the wire's key (`r_sense_charge`), `d_battery_switch`,
the stage's own (see `stages`), `r_pack`, `cells`, `load`. The stage's nodes are called `in` (source side) and `out`.
With a slewed start the pair is `blocking_pair`, `load_switch` connects the load, and `input_good` is what waits.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.circuit.circuit import Circuit, Gate, Modulator, Timed, Trip
from chargewright.circuit.control import CONTROL, Clamp, Loop, control_of, names_of
from chargewright.circuit.elements import (
    GROUND,
    Coil,
    Diode,
    Drain,
    Element,
    PassSwitch,
    PowerLoad,
    Resistor,
    Source,
    Switch,
    v_node,
)
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    PackSide,
    SwitchSide,
    bank_at,
    both_legs,
    four_switch,
    pack_at,
    two_switch,
)
from chargewright.network.graph import PowerPath, State, Wire
from chargewright.network.hardware import Hardware
from chargewright.network.solve import SOLVED, Conditions, Solution, solve
from chargewright.network.stage import CoilAt, SwitchAt
from chargewright.physics.conduction import resistance_at
from chargewright.physics.magnetics import saturating_inductance

SATURATES_FROM, SATURATES_TO = 0.3, 1.5
"""Currents over the saturation current between which a coil's inductance is given in pieces."""
CHORDS = (0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0, 1.02, 1.05, 1.1, 1.2, 1.5, 2.0)
"""Voltages over the steady one between which a load of constant power is a straight line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlewedStart:
    """A beginning with an empty input behind an open blocking pair, whose driver then limits the slew.

    Stage and load wait for the input. Nothing in a catalogue says what a driver's slew is: the capacitance behind the
    pair times the slew is the current that the source has to give (`physics.transient.inrush_current`).
    """

    slew: float
    """[V/s]"""
    c_inlet: float
    """Capacitance before the pair [F]; without any, the cable's current would have no way when the pair opens."""
    esr_inlet: float = 10e-3
    r_follow: float = 0.2
    """See `PassSwitch`; near the current wanted [Ω]."""
    drive: float = 5.0
    threshold: float = 1.5
    t_fall: float = 0.2e-6
    at: float = 0.0
    """When the driver begins [s]."""
    good: float = 0.9
    """Input voltage, over the steady one, from which stage and load run [1]."""
    lost: float = 0.6
    """Below which they are stopped again [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surround:
    """What a circuit has and a steady state has not."""

    c_a: float
    """Capacitance at the stage's source side, at its bias [F]."""
    c_b: float
    """Capacitance at the stage's pack side, at its bias [F]."""
    l_cable: float = 0.5e-6
    l_lead: float = 0.0
    """Inductance of the pack's leads [H]; 0 leaves it out."""
    pairs: tuple[tuple[float, float], ...] = ()
    """RC pairs of the pack (Ω, F); their resistance is taken from the pack's resistance for a lasting current."""
    r_diode: float = 1e-3
    """Resistance of a body diode beyond its drop [Ω]."""
    coil_pieces: int = 0
    """Pieces of the coil's falling inductance; 0 takes it constant, as at the steady current."""
    start: SlewedStart | None = None
    """None begins in the steady state, with the blocking pair a resistance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """Loops for a closed circuit. They act on the leg that the state's duty is made with, or on both legs of four."""

    loops: tuple[Loop, ...]
    clamp: Clamp
    ramp: float = 1.0
    """Height of the modulator's ramp over one period [V]."""
    overlap: float | None = None
    """Share of the ramp in which both legs of four switches run (below 0 neither does); None moves one leg alone."""


def circuit_of(
    path: PowerPath,
    state: State,
    hardware: Hardware,
    conditions: Conditions,
    surround: Surround,
    *,
    control: Control | None = None,
) -> Circuit:
    """Return the switched circuit of one state at one condition, started where the network solver finds it steady.

    Without `control` the gates run at the solver's duties. Raises NoSolution where there is no steady state.
    """
    solution = solve(path, state, hardware, conditions)
    if len(solution.status) != 1:
        raise OutOfRange(f"a switched circuit is of one condition; {len(solution.status)} were given")
    if solution.status[0] != SOLVED:
        raise NoSolution(f"path {path.key}, state {state.key}: the network has no steady state to start from")
    builder = _Builder(path, state, hardware, solution, surround)
    if surround.start is not None and not builder.starts:
        raise OutOfRange(f"path {path.key}, state {state.key}: no closed blocking pair to start through")
    around = builder.feeds() + builder.load()
    elements = builder.stage() + around
    gates, modulated = builder.gates()
    fixed: dict[str, Any] = {"timeline": builder.timeline(), "trips": builder.trips(), "period": builder.period}
    if control is None:
        return Circuit(elements=elements, gates=gates, title=f"{path.key}, {state.key}", **fixed)
    if modulated is None:
        raise OutOfRange(f"path {path.key}, state {state.key}: the stage stands still, so there is nothing to control")
    loops = control_of(control.loops, control.clamp)
    modulator = builder.modulator(control, modulated)
    driven = {name for leg in modulator.legs for name in (leg.main, leg.sync)}
    return Circuit(
        elements=elements + loops,
        gates=tuple(g for g in gates if g.switch not in driven),
        modulator=modulator,
        signals=names_of(loops),
        title=f"{path.key}, {state.key}, closed loop",
        **fixed,
    )


@dataclass(frozen=True, slots=True)
class _Builder:
    path: PowerPath
    state: State
    hardware: Hardware
    solution: Solution
    surround: Surround

    @property
    def period(self) -> float:
        return 1.0 / float(self.hardware.stage.setting.f_sw)

    @property
    def starts(self) -> bool:
        """Whether the circuit begins with a slewed start."""
        return self.surround.start is not None and any(w.key == "blocking-pair" for w in self._closed())

    def node(self, name: str) -> str:
        """Return the circuit's node of a node of the path: a wire without resistance makes two nodes one."""
        for w in self._closed():
            if w.b == name and w.key != "pack" and w.key != self.state.linear and self._resistance(w) == 0.0:
                inductive = w.key == "cable" and self.surround.l_cable > 0.0
                if not inductive and not (w.key == "blocking-pair" and self.starts):
                    return self.node(w.a)
        return {self.path.stage.a: "in", self.path.stage.b: "out"}.get(name, f"n_{name}")

    def feeds(self) -> tuple[Element, ...]:
        """Return source, wires and pack."""
        found: list[Element] = []
        c = self.solution.conditions
        if self.state.source:
            found.append(Source(name="source", a=self.node("source"), b=GROUND, v=float(c.e_source[0])))
        for w in self._closed():
            if w.key == "pack":
                found += self._pack(w)
            elif w.key == self.state.linear:
                found.append(Drain(name="linear", a=self.node(w.a), b=self.node(w.b), i=self._current(w)))
            else:
                found += self._wire(w)
        for w in self.path.wires:
            reached = w.a in self.solution.v and w.b in self.solution.v
            if w.key in self.state.open and w.diode and reached:
                a, b = (w.a, w.b) if w.diode == "a-to-b" else (w.b, w.a)
                drop = float(self.hardware.wires[w.key].v_diode)
                name = "d_" + w.key.replace("-", "_")
                found.append(Diode(name=name, a=self.node(a), b=self.node(b), v_f=drop, r_on=self.surround.r_diode))
        return tuple(found)

    def load(self) -> tuple[Element, ...]:
        """Return the rails as one load of constant power: what they deliver and what they lose."""
        power = float(self.solution.p_load[0] + self.solution.p_rails[0])
        if power <= 0.0:
            return ()
        at = float(self.solution.v[self.path.load_at][0])
        chords = tuple(at * share for share in CHORDS)
        node = self.node(self.path.load_at)
        if not self.starts:
            return (PowerLoad(name="load", a=node, b=GROUND, p=power, chords=chords),)
        return (
            Switch(name="load_switch", a=node, b="n_load", r_on=self.surround.r_diode),
            PowerLoad(name="load", a="n_load", b=GROUND, p=power, chords=chords),
        )

    def stage(self) -> tuple[Element, ...]:
        """Return the stage with its capacitors; the capacitors alone where it stands still and open."""
        s, setting = self.surround, self.hardware.stage.setting
        v = {end: float(self.solution.v.get(node, np.zeros(1))[0])
             for end, node in (("in", self.path.stage.a), ("out", self.path.stage.b))}  # fmt: skip
        if self.starts:
            v = {"in": self._before_start(), "out": self._pack_at(self.path.stage.b)}
        at_in = Bank(c=s.c_a, esr=float(setting.esr_in), start=v["in"])
        at_out = Bank(c=s.c_b, esr=float(setting.esr_out), start=v["out"])
        if self.state.stage == "off":
            # A node that no closed wire reaches is not in the circuit.
            banks = (("in", self.path.stage.a, at_in), ("out", self.path.stage.b, at_out))
            return sum((bank_at(n, n, bank) for n, node, bank in banks if node in self.solution.v), ())
        parts = self.hardware.stage
        coil = self._coil(parts.coil)
        switch = {k: self._switch(k, getattr(parts, k)) for k in ("a_high", "a_low", "b_low", "b_high")}
        if self.path.stage.legs == "buck":
            return two_switch(switch["a_high"], switch["a_low"], coil, at_in, at_out)
        return four_switch((switch["a_high"], switch["a_low"], switch["b_low"], switch["b_high"]), coil, at_in, at_out)

    def timeline(self) -> tuple[Timed, ...]:
        """Return the closing of the blocking pair."""
        start = self.surround.start
        return () if start is None else (Timed(switch="blocking_pair", t=start.at, on=True),)

    def trips(self) -> tuple[Trip, ...]:
        """Return what holds stage and load until the input stands."""
        start = self.surround.start
        if start is None:
            return ()
        steady = float(self.solution.v[self.path.stage.a][0])
        names = ("q_high", "q_low") if self.path.stage.legs == "buck" else ("a_high", "a_low", "b_low", "b_high")
        waiting = names if self.state.stage != "off" else ()
        if self.load():
            waiting = (*waiting, "load_switch")
        return (Trip(name="input_good", terms=((-1.0, v_node("in")),), level=-start.lost * steady,
                     release=-start.good * steady, holds=waiting, held=True),)  # fmt: skip

    def modulator(self, control: Control, modulated: tuple[str, str]) -> Modulator:
        """Return what drives the pair that makes the state's duty, or both legs."""
        dead = float(self.hardware.stage.setting.t_dead)
        if control.overlap is None:
            slope = control.ramp / self.period
            return Modulator(main=modulated[0], sync=modulated[1], control=CONTROL, slope=slope, dead=dead)
        if self.path.stage.legs == "buck":
            raise OutOfRange(f"path {self.path.key}: a stage of two switches has one leg; leave out the overlap")
        return both_legs(self.state.stage, control=CONTROL, ramp=control.ramp, period=self.period, dead=dead,
                         overlap=control.overlap)  # fmt: skip

    def gates(self) -> tuple[tuple[Gate, ...], tuple[str, str] | None]:
        """Return the gates at the solver's duties, and the pair that a modulator would drive (main, other)."""
        gates, modulated = self._stage_gates()
        if self.starts and self.load():
            gates += (Gate(switch="load_switch", on=0.0, off=1.0),)
        return gates, modulated

    def _stage_gates(self) -> tuple[tuple[Gate, ...], tuple[str, str] | None]:
        a, b = ("q_high", "q_low"), ("b_high", "b_low")
        if self.path.stage.legs == "four-switch":
            a = ("a_high", "a_low")
        if self.state.stage == "off":
            return (), None
        if self.state.stage == "through":
            return tuple(Gate(switch=s, on=0.0, off=1.0) for s in (a[0], b[0])), None
        into, out_of = (a, b) if self.state.stage == "forward" else (b, a)
        wave, setting = self.solution.waveform, self.hardware.stage.setting
        d_in, d_out = float(wave.d_in[0]), float(wave.d_out[0])
        dead = float(setting.t_dead) / self.period
        only = self.path.stage.legs == "buck"
        found: list[Gate] = []
        if not (only and self.state.stage == "reverse"):
            found += _pulse(into, 0.0, d_in, dead, high=True)
        if not (only and self.state.stage == "forward"):
            begin = 0.0 if only else float(setting.phase) * max(d_in - d_out, 0.0)
            found += _pulse(out_of, begin, d_out, dead, high=False)
        main = into if d_in < 1.0 else (out_of[1], out_of[0])
        return tuple(found), main

    def _closed(self) -> list[Wire]:
        return [w for w in self.path.wires if w.key in self.solution.i]

    def _current(self, w: Wire) -> float:
        return float(self.solution.i[w.key][0])

    def _resistance(self, w: Wire) -> float:
        c = self.solution.conditions
        given: dict[str, Any] = {"source": c.r_source, "cable": c.r_cable, "pack": c.r_pack}
        if w.key in given:
            return float(given[w.key][0])
        parts = self.hardware.wires[w.key]
        return float(resistance_at(parts.r_25, parts.temp_co, self.solution.temp[w.key][0]))

    def _before_start(self) -> float:
        """Return what the input has before the source comes: what body diodes let through from the pack [V]."""
        found = [0.0]
        if self.path.stage.legs == "buck":
            found.append(self._pack_at(self.path.stage.b) - float(self.hardware.stage.a_high.v_f))
        for w in self.path.wires:
            if w.key in self.state.open and w.diode:
                a, b = (w.a, w.b) if w.diode == "a-to-b" else (w.b, w.a)
                if b == self.path.stage.a:
                    found.append(self._pack_at(a) - float(self.hardware.wires[w.key].v_diode))
        return max(found)

    def _pack_at(self, node: str) -> float:
        """Return the pack's rest voltage where closed wires join a node to it, else 0 [V]."""
        reached = {node}
        wires = [w for w in self._closed() if w.key not in ("pack", self.state.linear)]
        for _ in wires:
            reached |= {n for w in wires for n in (w.a, w.b) if w.a in reached or w.b in reached}
        joined = any(w.key == "pack" and w.a in reached for w in self._closed())
        return float(self.solution.conditions.e_cells[0]) if joined else 0.0

    def _wire(self, w: Wire) -> list[Element]:
        name, a, b, r = w.key.replace("-", "_"), self.node(w.a), self.node(w.b), self._resistance(w)
        s = self.surround.start
        if w.key == "blocking-pair" and s is not None:
            pair = PassSwitch(name=name, a=a, b=b, r_on=r, slew=s.slew, r_follow=s.r_follow, drive=s.drive,
                              threshold=s.threshold, t_fall=s.t_fall)  # fmt: skip
            e_source = float(self.solution.conditions.e_source[0])
            return [pair, *bank_at(a, "inlet", Bank(c=s.c_inlet, esr=s.esr_inlet, start=e_source))]
        if w.key == "cable" and self.surround.l_cable > 0.0:
            start = 0.0 if self.starts else self._current(w)
            if r == 0.0:
                return [Coil(name="l_cable", a=a, b=b, l=self.surround.l_cable, start=start)]
            return [Resistor(name="r_cable", a=a, b="n_cable", r=r),
                    Coil(name="l_cable", a="n_cable", b=b, l=self.surround.l_cable, start=start)]  # fmt: skip
        return [Resistor(name=f"r_{name}", a=a, b=b, r=r)] if a != b else []

    def _pack(self, w: Wire) -> tuple[Element, ...]:
        s, at = self.surround, self.node(w.a)
        lead: tuple[Element, ...] = ()
        if s.l_lead > 0.0:
            lead = (Coil(name="l_lead", a=at, b="n_lead", l=s.l_lead, start=0.0 if self.starts else self._current(w)),)
            at = "n_lead"
        r0 = self._resistance(w) - sum(r for r, _ in s.pairs)
        if r0 <= 0.0:
            raise OutOfRange("the RC pairs take more than the pack's whole resistance for a lasting current")
        ocv = float(self.solution.conditions.e_cells[0])
        pairs = pack_at(at, PackSide(ocv=ocv, r0=r0, pairs=s.pairs, i_start=0.0 if self.starts else self._current(w)))
        return lead + pairs

    def _switch(self, place: str, part: SwitchAt | None) -> SwitchSide:
        if part is None:
            return SwitchSide(r_on=1.0, v_f=1.0, r_d=1.0)
        r_on = float(resistance_at(part.r_on, self.hardware.stage.hot[place].temp_co, self.solution.temp[place][0]))
        reverse = self.state.stage == "reverse"
        follows = place in (("a_high", "b_low") if reverse else ("a_low", "b_high"))
        emulate = follows and float(self.hardware.stage.setting.emulate) > 0.5
        return SwitchSide(r_on=r_on, v_f=float(part.v_f), r_d=self.surround.r_diode, emulate=emulate)

    def _coil(self, coil: CoilAt) -> CoilSide:
        wave, hot = self.solution.waveform, self.hardware.stage.hot["coil"]
        dcr = float(resistance_at(coil.r_dc, hot.temp_co, self.solution.temp["coil"][0]))
        if self.state.stage == "reverse":
            i = float(self.solution.i_a[0]) / (1.0 - float(wave.d_out[0]))
        else:
            i = float(self.solution.i_b[0]) / (1.0 - float(wave.d_out[0]))

        start = 0.0 if self.starts else i

        def left(at: float) -> float:
            return float(saturating_inductance(coil.l_0, at, coil.i_sat, coil.sat_exponent))

        if self.surround.coil_pieces < 2:
            return CoilSide(l=left(abs(i)), dcr=dcr, start=start)
        edges = np.linspace(SATURATES_FROM, SATURATES_TO, self.surround.coil_pieces) * float(coil.i_sat)
        middles = [*(0.5 * (edges[1:] + edges[:-1])), edges[-1]]
        bends = tuple((float(at), left(float(middle))) for at, middle in zip(edges, middles, strict=True))
        return CoilSide(l=left(0.5 * float(edges[0])), dcr=dcr, start=start, bends=bends)


def _pulse(leg: tuple[str, str], begin: float, duty: float, dead: float, *, high: bool) -> list[Gate]:
    """Return the gates of one leg (high, low): `duty` is the high switch's or the low one's, dead time the other's."""
    main, other = leg if high else (leg[1], leg[0])
    if duty <= 0.0:
        return [Gate(switch=other, on=0.0, off=1.0)]
    if duty >= 1.0:
        return [Gate(switch=main, on=0.0, off=1.0)]
    on = (begin + duty + dead) % 1.0
    return [Gate(switch=main, on=begin, off=begin + duty), Gate(switch=other, on=on, off=(begin - dead) % 1.0)]
