"""Circuits without meaning are refused before anything is computed, with the name of what is wrong."""

from chargewright.base.errors import OutOfRange
from chargewright.circuit.circuit import Circuit, Modulator, Trip
from chargewright.circuit.elements import (
    Amplifier,
    Capacitor,
    Coil,
    Diode,
    Drain,
    Element,
    PassSwitch,
    PowerLoad,
    Resistor,
    Source,
    Switch,
)


def check(circuit: Circuit) -> None:
    """Refuse what has no meaning before anything is computed; raises OutOfRange."""
    names = [e.name for e in circuit.elements] + [trip.name for trip in circuit.trips]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise OutOfRange(f"element names must differ; given more than once: {', '.join(twice)}")
    if not 0.0 < circuit.period < float("inf"):
        raise OutOfRange(f"the switching period is {circuit.period} s and must be above zero and finite")
    for e in circuit.elements:
        for what, value in _must_be_positive(e):
            if not 0.0 < value < float("inf"):
                raise OutOfRange(f"{what} of {e.name} is {value} and must be above zero and finite")
    for e in circuit.elements:
        for what, value in _must_be_finite(e):
            _finite(f"{what} of {e.name}", value)
        if isinstance(e, PassSwitch) and e.r_follow < e.r_on:
            raise OutOfRange(
                f"{e.name} follows its gate through {e.r_follow} Ω and conducts with {e.r_on} Ω: the first must be the"
                " larger, or the gate would give more current than the channel can carry"
            )
    for gate in circuit.gates:
        if not (0.0 <= gate.on <= 1.0 and 0.0 <= gate.off <= 1.0):
            raise OutOfRange(
                f"the gate of {gate.switch} switches at {gate.on} and {gate.off} of the period, not in 0 to 1"
            )
    driven = [g.switch for g in circuit.gates]
    if circuit.modulator is not None:
        _modulator(circuit, circuit.modulator)
        driven += [name for leg in circuit.modulator.legs for name in (leg.main, leg.sync)]
    for name in driven:
        if not isinstance(circuit.element(name), Switch | PassSwitch):
            raise OutOfRange(f"{name} has a gate but is no switch")
    timed = {event.switch for event in circuit.timeline}
    for event in circuit.timeline:
        if not isinstance(circuit.element(event.switch), Switch | PassSwitch):
            raise OutOfRange(f"{event.switch} is switched at {event.t} s but is no switch")
        if not 0.0 <= event.t < float("inf"):
            raise OutOfRange(f"{event.switch} is switched at {event.t} s; an instant is 0 or later, and finite")
    driven += sorted(timed)
    if sorted(set(driven)) != sorted(driven):
        raise OutOfRange("a switch is driven twice")
    for trip in circuit.trips:
        _trip(circuit, trip)


def _modulator(circuit: Circuit, m: Modulator) -> None:
    if not 0.0 <= m.dead < circuit.period:
        raise OutOfRange(f"the dead time is {m.dead} s, not below the period {circuit.period} s")
    for leg in m.legs:
        _finite(f"the offset of the leg of {leg.main}", leg.offset)
    if m.skip is None:
        return
    if not -float("inf") < m.skip.low < m.skip.high < float("inf"):
        raise OutOfRange(f"pulses are skipped below {m.skip.low} and until {m.skip.high}: the second must be higher")
    for leg in m.legs:
        sync = circuit.element(leg.sync)
        if isinstance(sync, Switch) and not sync.emulate:
            raise OutOfRange(
                f"{leg.sync} would carry the coil's current backwards while pulses are skipped: let it emulate a diode"
            )


def _trip(circuit: Circuit, trip: Trip) -> None:
    for name in trip.holds:
        if not isinstance(circuit.element(name), Switch | PassSwitch):
            raise OutOfRange(f"{trip.name} holds {name} open, which is no switch")
    _finite(f"the level of {trip.name}", trip.level)
    if not 0.0 <= trip.delay < float("inf"):
        raise OutOfRange(f"the delay of {trip.name} is {trip.delay} s and must be 0 or above, and finite")
    if trip.retry is not None and not 0.0 < trip.retry < float("inf"):
        raise OutOfRange(f"the retry of {trip.name} is {trip.retry} s and must be above zero and finite")
    if trip.release is not None and not -float("inf") < trip.release <= trip.level:
        raise OutOfRange(f"{trip.name} releases at {trip.release}, which is not at or below its level {trip.level}")


def _finite(what: str, value: float) -> None:
    if not -float("inf") < value < float("inf"):
        raise OutOfRange(f"{what} is {value} and must be finite")


def _must_be_positive(e: Element) -> list[tuple[str, float]]:
    if isinstance(e, Resistor):
        return [("the resistance", e.r)]
    if isinstance(e, Coil):
        return [("the inductance", e.l), *(("the inductance", value) for _, value in e.bends)]
    if isinstance(e, Capacitor):
        return [("the capacitance", e.c), *(("the capacitance", value) for _, value in e.bends)]
    if isinstance(e, Switch):
        return [("the on-resistance", e.r_on), ("the off-resistance", e.r_off)]
    if isinstance(e, Diode):
        return [("the resistance", e.r_on)]
    if isinstance(e, PassSwitch):
        resistances = [("the on-resistance", e.r_on), ("the resistance while it follows", e.r_follow)]
        return [*resistances, ("the slew", e.slew), ("the gate drive", e.drive), ("the fall time", e.t_fall)]
    if isinstance(e, PowerLoad):
        return [("the power", e.p), *(("a chord's voltage", v) for v in e.chords)]
    return []


def _must_be_finite(e: Element) -> list[tuple[str, float]]:
    if isinstance(e, Source | Drain | Amplifier):
        what = {Source: "the voltage", Drain: "the current", Amplifier: "the reference"}[type(e)]
        level = e.v if isinstance(e, Source) else e.i if isinstance(e, Drain) else e.reference
        return [(what, level)] if isinstance(level, int | float) else [(what, v) for p in level.points for v in p]
    if isinstance(e, Coil | Capacitor):
        return [("the value at the start", e.start)]
    if isinstance(e, PassSwitch):
        return [("the threshold", e.threshold), ("the gate at the start", e.gate_start)]
    return [("the forward drop", e.v_f)] if isinstance(e, Diode) else []
