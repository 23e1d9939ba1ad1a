"""The product as a circuit in time: one standing point of its path, with the loops that the stability study designed.

Everything comes from the study: parts from the build, temperatures and duties from the network solver, amplifiers and
delays from the loops. The delay of the modulator is put into each loop's sense filter, which has the same phase up to
the crossovers that are used.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from chargewright.base.errors import NoSolution
from chargewright.base.units import show
from chargewright.circuit.build import Surround, circuit_of
from chargewright.circuit.circuit import Circuit, Modulator
from chargewright.circuit.control import CONTROL, Clamp, Loop, control_of, names_of
from chargewright.circuit.elements import (
    GROUND,
    Capacitor,
    Coil,
    Diode,
    Element,
    Level,
    PowerLoad,
    Quantity,
    Resistor,
    Source,
    Switch,
    Wave,
    i_of,
    v_node,
)
from chargewright.circuit.stages import both_legs
from chargewright.loops.compensator import Transconductance
from chargewright.network.graph import PowerPath, StateKey
from chargewright.network.hardware import Hardware
from chargewright.parts.cell import tau1
from chargewright.parts.pack import pack_dc_resistance, pack_resistance
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.parts.regulator import rails_loss
from chargewright.parts.supply import Supply
from chargewright.physics.source import constant_power_voltage
from chargewright.sizing.build import Build, bank_capacitance
from chargewright.studies.needs import Plan, lowest_input
from chargewright.studies.operate import bus_setting, conditions, source_limit
from chargewright.studies.situation import Situation
from chargewright.studies.stability import ControllerModel, LoopReport, Stability

CHARGE_LOOPS = ("charge-current", "charge-voltage", "source-current", "source-voltage")
HOLD_LOOPS = ("bus-voltage", "source-current", "source-voltage")
HELD_UP = 0.97
"""Voltage that the source is held up to, over the lowest it has at rated current [1]: as its set-point is planned."""
FROM_SOURCE = ("source", "r_source", "r_cable", "l_cable", "r_blocking_pair", "r_leak_pair", "r_sense_source")
"""Elements from the source to the path's inlet: what is gone when the plug is pulled."""
FOUR = ("a_high", "a_low", "b_low", "b_high")
R_DIODE = 1e-3
_LOW = 0.02
_HIGH_OPEN, _HIGH_BOOST = 0.995, 0.85
_R_HOLD = 100.0
_R_LEAK = 1e5
"""Of a blocking path, so that no node hangs on an inductance alone [Ω]."""
_CHORDS = (0.4, 0.65, 0.85, 1.0, 1.2)
"""Voltages over that at rest between which the load's current is a straight line; it is of constant power down to the
first, and a resistance below."""
_FLOORED = ("source-current", "source-voltage")
"""Loops that can rule for long with an error that they cannot make good: their amplifiers are held at ground."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TransientSettings:
    """What a transient takes of the controller and of its user; SI. Common practice until a sheet says better."""

    t_switch: float = 20e-6
    """From the bus falling below the pack to the battery switch being closed, and from reversed current to open [s]."""
    t_turn: float = 50e-6
    """From the source passing its limit to the stage being allowed to run backwards [s]."""
    t_pair: float = 1e-3
    """In which the blocking pair lets the source rise onto the path [s]."""
    t_soft: float = 1e-3
    """In which the charge current is brought up [s]."""
    t_wake: float = 0.1e-3
    """In which a pack's protection lets its voltage rise [s]."""
    hold: float = 0.01
    """How far an amplifier that does not rule is held above the one that does, over the ramp [1]."""
    soc: float = 0.5
    soc_low: float = 0.15
    """State of charge of a pack that is taken for nearly empty [1]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Product:
    """One path with its parts and loops, ready to be put into time."""

    case: Situation
    plan: Plan
    hardware: Hardware
    build: Build
    stability: Stability
    controller: ControllerModel = field(default_factory=ControllerModel)
    settings: TransientSettings = field(default_factory=TransientSettings)
    known: dict[tuple[object, ...], "Standing"] = field(default_factory=dict)
    """Standing points that were asked for."""

    @property
    def path(self) -> PowerPath:
        """The power path."""
        return self.plan.path

    @property
    def strongest(self) -> Supply:
        """The source with the most power."""
        return self.plan.contracts[self.plan.strongest]

    @property
    def weakest(self) -> Supply:
        """The source with the least power."""
        return min(self.plan.contracts.values(), key=lambda s: s.power)

    @property
    def p_calm(self) -> float:
        """The calmest load [W]."""
        return min(self.case.modes.values())

    @property
    def t_loop(self) -> float:
        """One over the lowest crossover of the loops at the usual point [s]."""
        return 1.0 / min(float(r.f_target) for r in self.stability.loops)

    def loop(self, key: str) -> LoopReport:
        """Return one designed loop. Raises NoSolution where none was found."""
        for r in self.stability.loops:
            if r.key == key:
                return r
        raise NoSolution(f"no amplifier was found for the loop '{key}', so nothing that it regulates can be run")

    def p_bus(self, p_load: float, v_bus: float) -> float:
        """Return what the rails take from the bus when they deliver `p_load` [W]."""
        return p_load + float(rails_loss(self.hardware.rails, v_bus, p_load))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standing:
    """A path at rest in one state: its elements, and what its modulator works on."""

    product: Product
    supply: Supply
    circuit: Circuit
    main: str
    sync: str
    duty: float
    v_input: float
    v_bus: float
    overlap: float | None = None
    """Share of the ramp in which both legs of four switches run on one control voltage; None where one leg moves."""

    @property
    def rest_of_ramp(self) -> float:
        """Control voltage at which the output leg's pulses begin, where both legs move [V]."""
        return 0.0 if self.overlap is None else self.ramp * (1.0 - self.overlap)

    @property
    def control(self) -> float:
        """Control voltage at rest [V]."""
        return self.duty * self.ramp + (self.rest_of_ramp if self.main == "b_low" else 0.0)

    @property
    def v_cells(self) -> float:
        """Rest voltage of the pack [V]."""
        cells = self.element("cells")
        assert isinstance(cells, Source)
        assert not isinstance(cells.v, Wave)
        return cells.v

    def resistance(self, *names: str) -> float:
        """Return the sum of resistors; those that are not in the circuit count nothing [ohm]."""
        return sum(e.r for e in self.circuit.elements if isinstance(e, Resistor) and e.name in names)

    @property
    def ramp(self) -> float:
        """Height of the modulator's ramp [V]; it follows the input voltage."""
        return self.product.controller.ramp_share * self.v_input

    def element(self, name: str) -> Element:
        """Return an element by its name."""
        return self.circuit.element(name)


def standing(
    product: Product,
    key: StateKey,
    supply: Supply,
    *,
    soc: float,
    p_load: float,
    i_pack: float | None = None,
    e_cells: float | None = None,
) -> Standing:
    """Return the path at rest in a state. Raises NoSolution where it has none."""
    asked = (key, supply.name, supply.contract, soc, p_load, i_pack, e_cells)
    if asked not in product.known:
        product.known[asked] = _stood(product, key, supply, soc=soc, p_load=p_load, i_pack=i_pack, e_cells=e_cells)
    return product.known[asked]


def _stood(
    product: Product,
    key: StateKey,
    supply: Supply,
    *,
    soc: float,
    p_load: float,
    i_pack: float | None,
    e_cells: float | None,
) -> Standing:
    case, path = product.case, product.path
    state = path.state(key)
    if state is None:
        raise NoSolution(f"{path.title} has no state '{key}'")
    temp = case.design.ambient.typical
    c = conditions(case, path, key, supply, soc=soc, p_load=p_load, temp=temp, i_pack=i_pack)
    if e_cells is not None:
        c = replace(c, e_cells=e_cells)
    r_0 = float(pack_resistance(case.pack, soc, temp, True))
    r_1 = float(pack_dc_resistance(case.pack, soc, temp, True)) - r_0
    pairs = ((r_1, float(tau1(case.pack.cell, soc, temp)) / r_1),) if r_1 > 0.0 else ()
    c_rails = rail_inputs(product.plan.rails).c
    surround = Surround(
        c_a=float(bank_capacitance(product.build.bank_a, supply.v_set.typ)) + (0.0 if path.narrow else c_rails),
        c_b=float(bank_capacitance(product.build.bank_b, float(c.e_cells))) + (c_rails if path.narrow else 0.0),
        l_cable=supply.l_cable,
        l_lead=case.pack.lead_inductance,
        pairs=pairs,
    )
    circuit = circuit_of(path, state, product.hardware, c, surround)
    main, sync, duty = _modulated(circuit)
    chords = _load_of(circuit.elements).chords
    return Standing(
        product=product, supply=supply, circuit=circuit, main=main, sync=sync, duty=duty,
        v_input=starts_of(circuit)["c_in"], v_bus=chords[len(chords) // 2],
    )  # fmt: skip


def charging(product: Product, supply: Supply, *, soc: float, p_load: float) -> tuple[Standing, tuple[str, ...]]:
    """Return the path while it charges, cut back where the source would be beyond its limit; the ruling loop first."""
    at = standing(product, "charging", supply, soc=soc, p_load=p_load)
    if starts_of(at.circuit)["l_cable"] <= source_limit(product.case, supply):
        return at, CHARGE_LOOPS
    shared = standing(product, "shared", supply, soc=soc, p_load=p_load)
    return shared, ("source-current", *(k for k in CHARGE_LOOPS if k != "source-current"))


def _modulated(circuit: Circuit) -> tuple[str, str, float]:
    """Return the switch that the modulator turns on with the clock, the other of its leg, and its duty at rest."""
    gates = {g.switch: g for g in circuit.gates}
    for main, sync in (("q_high", "q_low"), ("a_high", "a_low"), ("b_low", "b_high")):
        gate = gates.get(main)
        if gate is not None and not (gate.on == 0.0 and gate.off == 1.0):
            return main, sync, (gate.off - gate.on) % 1.0
    raise NoSolution(f"{circuit.title}: the stage stands still, so nothing regulates it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """How a circuit differs from its standing point."""

    p_load: float | None = None
    """What the rails deliver together [W]; None as at rest, 0 for no load."""
    source: Level | None = None
    """Source voltage in time [V]."""
    source_gone: bool = False
    cells: Level | None = None
    """Rest voltage of the pack in time [V]."""
    switch_closed: bool | None = None
    """Battery switch; None as at rest."""
    stage: bool = True
    """Whether the stage is driven."""
    emulate: bool | None = None
    """Whether the stage keeps the coil's current from turning; None as the parts are set."""
    references: Mapping[str, Level] = field(default_factory=dict)
    """Other references than the usual ones, by loop."""
    follows: float | None = None
    """Control voltage over the ramp's height near which that height follows the input voltage [1]; None where the input
    hardly moves."""


def parted(at: Standing) -> Standing:
    """Return a narrow path with its battery switch open: its body diode is left."""
    wire = at.product.path.wire("battery-switch")
    parts = at.product.hardware.wires["battery-switch"]
    assert wire is not None

    def opened(e: Element) -> Element:
        if e.name != "r_battery_switch" or not isinstance(e, Resistor):
            return e
        a, b = (e.a, e.b) if wire.diode == "a-to-b" else (e.b, e.a)
        return Diode(name="d_battery_switch", a=a, b=b, v_f=float(parts.v_diode), r_on=R_DIODE)

    return replace(at, circuit=replace(at.circuit, elements=tuple(opened(e) for e in at.circuit.elements)))


def put_into_time(at: Standing, loops: tuple[str, ...], change: Change | None = None) -> Circuit:
    """Return the closed-loop circuit of a standing point, changed; the first loop rules at the beginning."""
    change = change or Change()
    elements = _changed(at, change)
    if not change.stage:
        return replace(at.circuit, elements=elements, gates=(), title=f"{at.circuit.title}, stage at rest")
    ramp = at.ramp
    clamp = Clamp(low=_LOW * ramp, high=_top(at), margin=at.product.settings.hold * ramp, r=_R_HOLD)
    kept = tuple(k for k in loops if not (change.source_gone and k == "source-current"))
    made = tuple(
        _loop(at, key, elements, at.control + (0.0 if n == 0 else clamp.margin), change)
        for n, key in enumerate(kept)
    )  # fmt: skip
    control = control_of(made, clamp)
    # No amplifier's output goes below ground: this ends its wind-up downwards.
    control += tuple(
        Diode(name=f"floor_{p.name}", a=GROUND, b=p.node, v_f=0.0, r_on=_R_HOLD)
        for key, p in zip(kept, made, strict=True)
        if key in _FLOORED
    )
    period = at.circuit.period
    dead = float(at.product.hardware.stage.setting.t_dead)
    if at.overlap is None:
        moved = {at.main, at.sync}
        modulator = Modulator(main=at.main, sync=at.sync, control=CONTROL, slope=ramp / period, dead=dead)
    else:
        moved = set(FOUR)
        modulator = both_legs("forward", control=CONTROL, ramp=ramp, period=period, dead=dead, overlap=at.overlap)
    if change.follows is not None:
        # To first order: v / (k·v_in) = (v − slope·(v_in − v_0)) / (k·v_0), with the slope v / v_in of where it works.
        slope = change.follows * at.product.controller.ramp_share
        middle = Source(name="v_input_middle", a="v_input_middle", b=GROUND, v=at.v_input)
        terms = ((slope, v_node("in")), (-slope, v_node(middle.a)))
        control += (middle,)
        second = None if modulator.second is None else replace(modulator.second, terms=terms)
        modulator = replace(modulator, terms=terms, second=second)
    return Circuit(
        elements=elements + control,
        period=period,
        gates=tuple(g for g in at.circuit.gates if g.switch not in moved),
        modulator=modulator,
        signals=names_of(control),
        title=f"{at.circuit.title}, closed loop",
    )


def _top(at: Standing) -> float:
    """Return the highest control voltage: of four switches the source-side high one may stay on for nearly all time."""
    if at.overlap is not None:
        return at.rest_of_ramp + _HIGH_BOOST * at.ramp
    tops = {"q_high": at.product.case.design.rules.duty_max, "a_high": _HIGH_OPEN, "b_low": _HIGH_BOOST}
    return float(tops[at.main]) * at.ramp


def _loop(at: Standing, key: str, elements: tuple[Element, ...], start: float, change: Change) -> Loop:
    """Return one designed loop as the circuit takes it."""
    product, report = at.product, at.product.loop(key)
    controller, built = product.controller, report.designed.built
    quantity, sign, reference = _regulated(at, key, elements)
    bare = partial(
        Loop,
        name=key.replace("-", "_"),
        terms=((sign, quantity),),
        reference=change.references.get(key, reference),
        gain=float(report.loop.scale),
        start=start,
        settled=sign * _sensed_at_rest(at, key),
        tau=controller.t_sense + float(controller.modulator(product.build.f_sw).t_delay),
    )
    if isinstance(built, Transconductance):
        c_p = float(built.c_p)
        return bare(gm=float(built.gm), r_z=float(built.r_z), c_z=float(built.c_z), c_p=c_p or None)
    lead = (float(built.r_3), float(built.c_3)) if float(built.c_3) > 0.0 else None
    return bare(
        gm=1.0 / float(built.r_1), r_z=float(built.r_2), c_z=float(built.c_1), c_p=float(built.c_2), lead=lead
    )  # fmt: skip


def _regulated(at: Standing, key: str, elements: tuple[Element, ...]) -> tuple[Quantity, float, Level]:
    """Return what a loop senses, its sign and its reference."""
    case, path = at.product.case, at.product.path
    if key == "charge-current":
        return i_of("r_sense_charge"), 1.0, case.i_charge
    if key == "charge-voltage":
        return v_node(pack_node(elements)), 1.0, case.v_full
    if key == "source-current":
        return i_of("r_sense_source"), 1.0, source_limit(case, at.supply)
    if key == "source-voltage":
        return v_node("in"), -1.0, -HELD_UP * lowest_input(at.supply)
    return v_node("out"), 1.0, float(bus_setting(case, path, "source-only", case.v_full))


def _sensed_at_rest(at: Standing, key: str) -> float:
    """Return what a loop senses at the standing point, without its sign."""
    start = starts_of(at.circuit)
    if key == "source-current":
        return start.get("l_cable", 0.0)
    if key == "source-voltage":
        return at.v_input
    if key == "bus-voltage":
        return start["c_out"]
    i = charge_at_rest(at)
    return i if key == "charge-current" else at.v_cells + i * at.resistance("r_pack", "r_pair1")


def charge_at_rest(at: Standing) -> float:
    """Return the charge current at the standing point [A]."""
    ways = ("r_pack", "r_pair1", "r_battery_switch", "r_sense_charge")
    return (starts_of(at.circuit)["c_out"] - at.v_cells) / at.resistance(*ways)


def pack_node(elements: tuple[Element, ...]) -> str:
    """Return the node of the pack's terminals."""
    named = {e.name: e for e in elements}
    return (named.get("l_lead") or named["r_pack"]).a


def bus_node(elements: tuple[Element, ...]) -> str:
    """Return the node of the bus."""
    return _load_of(elements).a


def _load_of(elements: tuple[Element, ...]) -> PowerLoad:
    return next(e for e in elements if isinstance(e, PowerLoad))


def _changed(at: Standing, change: Change) -> tuple[Element, ...]:
    found: list[Element] = []
    wire = at.product.hardware.wires.get("battery-switch")
    r_switch = float(wire.r_25) if wire is not None else 0.0
    for e in at.circuit.elements:
        if change.source_gone and e.name in FROM_SOURCE:
            continue
        if isinstance(e, Source) and e.name == "source" and change.source is not None:
            e = replace(e, v=change.source)
        elif isinstance(e, Source) and e.name == "cells" and change.cells is not None:
            e = replace(e, v=change.cells)
        elif e.name == "r_blocking_pair" and isinstance(e, Resistor):
            # A source gives and does not take: nothing flows back through the pair.
            found.append(Resistor(name="r_leak_pair", a=e.a, b=e.b, r=_R_LEAK))
            e = Diode(name="d_blocking_pair", a=e.a, b=e.b, v_f=0.0, r_on=e.r)
        elif isinstance(e, PowerLoad):
            e = _load(at, e, change.p_load)
        elif isinstance(e, Switch) and change.emulate is not None:
            e = replace(e, emulate=change.emulate and e.emulate)
        elif e.name == "d_battery_switch" and isinstance(e, Diode):
            if change.switch_closed:
                e = Resistor(name="r_battery_switch", a=e.a, b=e.b, r=r_switch)
            else:
                found.append(Resistor(name="r_leak_switch", a=e.a, b=e.b, r=_R_LEAK))
        found.append(e)
    return tuple(found)


def _load(at: Standing, load: PowerLoad, p_load: float | None) -> PowerLoad:
    """Return the load, at another power where one is given."""
    p = load.p if p_load is None else max(at.product.p_bus(p_load, at.v_bus), 1e-3)
    return replace(load, p=p, chords=tuple(share * at.v_bus for share in _CHORDS))


@dataclass(frozen=True, slots=True, kw_only=True)
class OnPack:
    """The pack alone under a load, and what coils and capacitors are then."""

    v_bus: float
    i: float
    """Out of the pack [A]."""
    state: dict[str, float]


def on_pack(at: Standing, p_load: float) -> OnPack:
    """Return the pack alone, its switch closed and the stage at rest. Raises NoSolution where it cannot carry that."""
    e, wire = at.v_cells, at.product.hardware.wires.get("battery-switch")
    ways = ("r_pack", "r_pair1", "r_sense_charge") if at.product.path.narrow else ("r_pack", "r_pair1")
    r = at.resistance(*ways) + (float(wire.r_25) if wire is not None else 0.0)
    p = at.product.p_bus(p_load, e)
    if e**2 <= 4.0 * r * p:
        raise NoSolution(f"the pack alone cannot carry {show(p_load, 'W')}")
    v = float(constant_power_voltage(e, r, p))
    i = p / v
    # Behind a two-switch stage the pack stands on the input too, through the high switch's diode.
    back = v - float(at.product.hardware.stage.a_high.v_f) if at.main == "q_high" else 0.0
    v_in, v_out = (back, v) if at.product.path.narrow else (v, e)
    state = {"coil": 0.0, "l_cable": 0.0, "l_lead": -i, "c_in": v_in, "c_out": v_out}
    return OnPack(v_bus=v, i=i, state={**state, "c_pair1": -at.resistance("r_pair1") * i})


def fresh_amplifiers(at: Standing, loops: tuple[str, ...], duty: float) -> dict[str, float]:
    """Return the capacitors of amplifiers that start where the duty is `duty`, all of them ready to rule."""
    v = duty * at.ramp
    return {f"{kind}_{key.replace('-', '_')}": v for key in loops for kind in ("cz", "cp")}


def words_of(at: Standing, soc: float, *loads: float) -> str:
    """Return source, state of charge and loads in words."""
    power = " to ".join(show(p, "W", 3) for p in loads)
    return f"{at.supply.name} ({at.supply.contract}), pack at {soc:.0%}, load {power}"


def starts_of(circuit: Circuit) -> dict[str, float]:
    """Return the start of every coil and capacitor."""
    return {e.name: e.start for e in circuit.elements if isinstance(e, Coil | Capacitor)}
