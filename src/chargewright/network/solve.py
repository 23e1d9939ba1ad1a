"""The steady state of any path in any state, over arrays of conditions: voltages, currents, losses, temperatures.

Unknowns are the free node voltages, the wire currents and the stage's two port currents (modified nodal analysis).
Newton's method with an analytic Jacobian solves them for all conditions at once; the stage's losses, the rails'
losses and all temperatures are renewed at every step, so that electrical and thermal solution close together.

Power balances to rounding at every step, because the stage's equation is its power balance with the losses that the
ledger shows. Where no steady state exists (a load that the source cannot carry, thermal runaway, a duty beyond what
the stage's legs can do) `status` says so and the numbers are nan.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from chargewright.base.compiled import plain
from chargewright.network import stage
from chargewright.network._system import Layout, newton_step
from chargewright.network.graph import PowerPath, State, WireKind
from chargewright.network.hardware import ABSENT, Hardware, StageParts
from chargewright.network.stage import StageLosses, StageWaveform, SwitchAt, drive_supply
from chargewright.parts import regulator
from chargewright.physics import conduction

Floats = npt.NDArray[np.float64]

# Every step of the solver evaluates these; the relations inside are taken without range checks and tracing.
stage_point = plain(stage.stage_point)
rails_loss = plain(regulator.rails_loss)
resistance_at = plain(conduction.resistance_at)
resistive_loss = plain(conduction.resistive_loss)

SOLVED, NO_SOLUTION, RUNAWAY, DROPOUT = 0, 1, 2, 3
TEMP_RUNAWAY = 523.15
"""A part that the thermal network would drive beyond 250 °C is in thermal runaway: no solder or silicon survives it."""
IDLE_SHARE = 0.1
"""Supply current of a controller whose stage stands still, over that while switching [1] (common practice)."""
_MOST_STEPS = 100
_LEAST_STEPS = 3
_FIRST_RISE = 15.0
_SURE_STEPS = 10
"""Steps after which a part at twice the runaway limit is no longer taken for an overshoot of the method."""
_FLIP_STEPS = 30
"""Steps after which a condition that still moves is taken to flip between two regions of a four-switch stage."""
_HYSTERESIS = 0.01
"""How much further such a condition stays in the region of one leg, in duty, as a controller with hysteresis does.

The loss of the second leg comes and goes in one step, so at the edge of a region there can be a narrow band in which
either region leads to the other; this decides for the one with less loss.
"""
_D_OUT_MAX = 0.98
"""Greatest duty of the output low switch: beyond it a stage lifts more than fifty times, which no steady state does."""
_SLOPE_STEP = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What is imposed on a path, SI; all fields broadcast to one shape of conditions."""

    e_source: Any = 0.0
    """No-load voltage of the source."""
    r_source: Any = 0.0
    """Droop resistance inside the source."""
    r_cable: Any = 0.0
    e_cells: Any = 0.0
    """Open-circuit voltage of the pack."""
    r_pack: Any = 0.0
    """Resistance of cells, interconnect and protection for a lasting current."""
    p_load: Any = 0.0
    """Power that the rails deliver together."""
    i_source: Any = 0.0
    """Source current to hold, where the state holds it."""
    i_pack: Any = 0.0
    """Pack current to hold (charge positive), where the state holds it."""
    v_bus: Any = 0.0
    """Bus voltage to hold, where the state holds it."""
    temp_ambient: Any = 298.15


@dataclass(slots=True, kw_only=True)
class Solution:
    """One state solved over conditions of shape (n,). Keys are node and wire keys of the path."""

    path: PowerPath
    state: State
    conditions: Conditions
    v: dict[str, Floats]
    i: dict[WireKind, Floats]
    i_a: Floats
    i_b: Floats
    losses: StageLosses
    waveform: StageWaveform
    wire_loss: dict[WireKind, Floats]
    p_load: Floats
    p_rails: Floats
    """Loss of the regulators."""
    temp: dict[str, Floats]
    """Hottest body of each part [K], and `board`."""
    status: npt.NDArray[np.int8]

    @property
    def ok(self) -> npt.NDArray[np.bool_]:
        """Where a steady state exists."""
        return np.asarray(self.status == SOLVED)

    @property
    def p_stage(self) -> Floats:
        """Loss of the stage [W]."""
        return np.asarray(sum(self.losses), dtype=float)


def solve(path: PowerPath, state: State, hardware: Hardware, c: Conditions) -> Solution:
    """Return the steady state of `path` in `state` for every condition.

    Conditions broadcast to shape (n,). See the module text for the method; losses: `network.stage` and
    `parts.regulator`.
    """
    fields = {name: getattr(c, name) for name in Conditions.__dataclass_fields__}
    flat = np.broadcast_arrays(*[np.atleast_1d(np.asarray(x, dtype=float)).ravel() for x in fields.values()])
    full = Conditions(**dict(zip(fields, (a.copy() for a in flat), strict=True)))
    with np.errstate(all="ignore"):
        return _iterate(path, state, hardware, full)


def _iterate(path: PowerPath, state: State, hw: Hardware, c: Conditions) -> Solution:
    layout = Layout.of(path, state)
    n = len(c.e_source)
    x = layout.first_guess(c)
    temps = dict.fromkeys((*layout.wires, *hw.stage.hot, "board"), c.temp_ambient + _FIRST_RISE)
    p_rails, slope = _rails(hw, layout.voltage(x, path.load_at, c), c.p_load)
    d_out = np.zeros(n)
    solved, away, lost = (np.zeros(n, dtype=bool) for _ in range(3))
    done = solved | away | lost
    turn = np.zeros(n)
    shown: _Shown | None = None
    for step in range(_MOST_STEPS):
        resistances = _wire_resistances(layout, hw, c, temps)
        losses, wave, r_through = _stage_losses(path, state, hw, layout, c, x, d_out, temps, turn)
        p_stage = np.asarray(sum(losses), dtype=float)
        fresh = newton_step(layout, c, x, resistances, p_stage, c.p_load + p_rails, slope, r_through)
        moved = np.max(np.abs(fresh - x) / (1e-3 + np.abs(fresh)), axis=1)
        lost |= ~done & (~np.isfinite(moved) | (layout.voltage(fresh, path.load_at, c) <= 0.0))
        # What has come to an end stays as it is, so that no condition depends on how long the others take.
        x = np.where((lost | done)[:, None], x, fresh)
        d_out = wave.d_out
        wire_loss = _wire_losses(layout, c, x, resistances)
        next_temps = _temperatures(layout, hw, c, losses, wire_loss, p_rails)
        warmed = np.max([np.abs(next_temps[k] - temps[k]) for k in temps], axis=0)
        hottest = np.max([next_temps[k] for k in temps], axis=0)
        next_rails, slope = _rails(hw, layout.voltage(x, path.load_at, c), c.p_load)
        settled = np.abs(next_rails - p_rails) < 1e-11 * (1.0 + c.p_load)
        if step >= _LEAST_STEPS:
            solved |= ~done & (moved < 1e-10) & (warmed < 1e-5) & settled
        if step >= _SURE_STEPS:
            away |= ~done & (hottest >= 2.0 * TEMP_RUNAWAY)
        ends = (solved | away | lost) & ~done
        done |= ends
        if ends.any():
            shown = _kept(ends, _Shown(losses, wave, wire_loss, next_temps), shown)
        if step == _FLIP_STEPS:
            turn = np.where(done, 0.0, _HYSTERESIS)
        if bool(np.all(done)):
            break
        temps = {k: np.minimum(next_temps[k], 2.0 * TEMP_RUNAWAY) for k in temps}
        p_rails = np.where(done, p_rails, next_rails)
    shown = _kept(~done, _Shown(losses, wave, wire_loss, next_temps), shown)
    lost |= _beyond_greatest_power(layout, c, x) | _lifted_by_resistance(layout, shown.wire_loss)
    status = np.where(solved, np.where(_out_of_duty(state, shown.waveform), DROPOUT, SOLVED), NO_SOLUTION)
    hottest = np.max(list(shown.temps.values()), axis=0)
    status = np.where(away | (hottest > TEMP_RUNAWAY), RUNAWAY, status)
    status = np.where(lost, NO_SOLUTION, status)
    return _package(path, state, c, layout, x, *shown, p_rails, status.astype(np.int8))


class _Shown(NamedTuple):
    """What the last step of each condition was made with: these numbers balance."""

    losses: StageLosses
    waveform: StageWaveform
    wire_loss: dict[WireKind, Floats]
    temps: dict[str, Floats]


def _kept(which: npt.NDArray[np.bool_], now: _Shown, before: _Shown | None) -> _Shown:
    """Return `before` with the conditions `which` as they are now."""
    if before is None or which.all():
        return now

    def chosen(new: Any, old: Any) -> Any:
        return np.where(which, new, old)

    return _Shown(
        StageLosses(*map(chosen, now.losses, before.losses)),
        StageWaveform(*map(chosen, now.waveform, before.waveform)),
        {key: chosen(loss, before.wire_loss[key]) for key, loss in now.wire_loss.items()},
        {name: chosen(temp, before.temps[name]) for name, temp in now.temps.items()},
    )


def _rails(hw: Hardware, v_bus: Floats, p_load: Any) -> tuple[Floats, Floats]:
    """Return loss [W] of the rails and its slope over the bus voltage [W/V]."""
    loss = rails_loss(hw.rails, v_bus, p_load)
    above = rails_loss(hw.rails, v_bus * (1.0 + _SLOPE_STEP), p_load)
    return loss, (above - loss) / (v_bus * _SLOPE_STEP)


def _beyond_greatest_power(layout: Layout, c: Conditions, x: Floats) -> npt.NDArray[np.bool_]:
    """Return where a source of voltage has lost more than half of it on its way.

    What e gives through r is v·(e - v)/r, at most at v = e/2. Below, less voltage means less power, and a load that
    takes constant power has no stable rest there: the root is one of the equations, not of the circuit.
    """
    stage_feeds = {"forward": layout.path.stage.a, "through": layout.path.stage.a, "reverse": layout.path.stage.b}
    takes = {layout.path.load_at, stage_feeds.get(layout.state.stage, layout.path.load_at)}
    beyond = np.zeros(len(x), dtype=bool)
    for start, on in (("source", layout.state.source), ("cells", layout.state.pack)):
        for node in layout.joined(start) & takes if on else ():
            beyond |= layout.voltage(x, node, c) < 0.5 * layout.voltage(x, start, c)
    return beyond


def _lifted_by_resistance(layout: Layout, wire_loss: dict[WireKind, Floats]) -> npt.NDArray[np.bool_]:
    """Return where a linear pass element would have to drive its current up a voltage: it can only drop some."""
    linear = layout.state.linear
    return np.asarray(wire_loss[linear] < 0.0) if linear is not None else np.zeros(1, dtype=bool)


def _out_of_duty(state: State, wave: StageWaveform) -> npt.NDArray[np.bool_]:
    """Return where a stage at work would need a duty that its legs cannot have."""
    if state.stage not in ("forward", "reverse"):
        return np.zeros(1, dtype=bool)
    return np.asarray((wave.d_in > 1.0) | (wave.d_in < 0.0) | (wave.d_out < 0.0) | (wave.d_out > _D_OUT_MAX))


def _wire_resistances(layout: Layout, hw: Hardware, c: Conditions, temps: dict[str, Floats]) -> dict[WireKind, Floats]:
    imposed: dict[str, Any] = {"source": c.r_source, "cable": c.r_cable, "pack": c.r_pack}
    found: dict[WireKind, Floats] = {}
    for key in layout.wires:
        if key in imposed:
            found[key] = imposed[key]
        else:
            parts = hw.wires[key]
            found[key] = resistance_at(parts.r_25, parts.temp_co, temps[key]) + 0.0 * c.e_source
    return found


def _wire_losses(layout: Layout, c: Conditions, x: Floats, r: dict[WireKind, Floats]) -> dict[WireKind, Floats]:
    lost: dict[WireKind, Floats] = {}
    for key in layout.wires:
        i = layout.current(x, key)
        if key == layout.state.linear:
            wire = layout.wires[key]
            lost[key] = (layout.voltage(x, wire.a, c) - layout.voltage(x, wire.b, c)) * i
        else:
            lost[key] = resistive_loss(i, r[key])
    return lost


def _switch_hot(part: SwitchAt | None, temps: dict[str, Floats], hw: Hardware, name: str) -> SwitchAt:
    if part is None:
        return ABSENT
    return part._replace(r_on=resistance_at(part.r_on, hw.stage.hot[name].temp_co, temps[name]))


def _stage_losses(
    path: PowerPath,
    state: State,
    hw: Hardware,
    layout: Layout,
    c: Conditions,
    x: Floats,
    d_out: Floats,
    temps: dict[str, Floats],
    turn: Floats,
) -> tuple[StageLosses, StageWaveform, Any]:
    parts: StageParts = hw.stage
    zero = np.zeros(len(c.e_source))
    v_a = layout.voltage(x, path.stage.a, c)
    v_b = layout.voltage(x, path.stage.b, c)
    a_high, a_low = (_switch_hot(getattr(parts, k), temps, hw, k) for k in ("a_high", "a_low"))
    b_low, b_high = (_switch_hot(getattr(parts, k), temps, hw, k) for k in ("b_low", "b_high"))
    coil = parts.coil._replace(r_dc=resistance_at(parts.coil.r_dc, hw.stage.hot["coil"].temp_co, temps["coil"]))
    idle = StageWaveform(*([zero] * len(StageWaveform._fields)))
    if state.stage in ("off", "through"):
        fed = v_a if state.stage == "through" or state.fed_from == "a" else v_b
        quiet = IDLE_SHARE * parts.setting.i_quiescent * drive_supply(fed, fed, parts.setting.v_drive)
        i = layout.port(x, "i_b") if state.stage == "through" else zero
        r_through = a_high.r_on + coil.r_dc + b_high.r_on
        found = dict.fromkeys(StageLosses._fields, zero) | {
            "in_high_conduction": resistive_loss(i, a_high.r_on),
            "out_high_conduction": resistive_loss(i, b_high.r_on),
            "coil_winding": resistive_loss(i, coil.r_dc),
            "quiescent": quiet + zero,
        }
        return StageLosses(**found), idle._replace(rms_coil=np.abs(i), i_peak=np.abs(i), d_in=zero + 1.0), r_through
    setting = parts.setting._replace(duty_turn=np.minimum(parts.setting.duty_turn + turn, 1.0))
    one_leg = 1.0 if path.stage.legs == "buck" else 0.0
    if state.stage == "forward":
        i_out = layout.port(x, "i_b")
        i_coil = np.maximum(i_out / np.maximum(1.0 - d_out, 1.0 - _D_OUT_MAX), 1e-6)
        losses, wave = stage_point(v_a, v_b, i_coil, a_high, a_low, b_low, b_high, coil, setting._replace(legs=one_leg))
        return losses, wave, 0.0
    # Backwards: the pack side feeds, the legs change their roles, and so do the capacitors.
    i_out = -layout.port(x, "i_a")
    i_coil = np.maximum(i_out / np.maximum(1.0 - d_out, 1.0 - _D_OUT_MAX), 1e-6)
    turned = setting._replace(legs=-one_leg, esr_in=setting.esr_out, esr_out=setting.esr_in)
    losses, wave = stage_point(v_b, v_a, i_coil, b_high, b_low, a_low, a_high, coil, turned)
    return losses, wave, 0.0


_HEATS = {
    "in_high": ("in_high_conduction", "in_overlap", "in_capacitance", "in_recovery"),
    "in_low": ("in_low_conduction", "in_dead_time"),
    "out_low": ("out_low_conduction", "out_overlap", "out_capacitance", "out_recovery"),
    "out_high": ("out_high_conduction", "out_dead_time"),
    "coil": ("coil_winding", "coil_ac", "coil_core"),
}
"""Which losses warm which part, named by the role in the power flow."""


def heat_of(losses: StageLosses, reverse: bool) -> dict[str, Any]:
    """Return the heat [W] in each part of the stage by its place (a_high, a_low, b_low, b_high, coil)."""
    by_role = {role: sum(getattr(losses, name) for name in names) for role, names in _HEATS.items()}
    places = {"a_high": "in_high", "a_low": "in_low", "b_low": "out_low", "b_high": "out_high", "coil": "coil"}
    if reverse:
        places = {"a_high": "out_high", "a_low": "out_low", "b_low": "in_low", "b_high": "in_high", "coil": "coil"}
    return {place: by_role[role] for place, role in places.items()}


def _temperatures(
    layout: Layout, hw: Hardware, c: Conditions, losses: StageLosses, wire_loss: dict[WireKind, Floats], p_rails: Floats
) -> dict[str, Floats]:
    heats = heat_of(losses, layout.state.stage == "reverse")
    on_board = np.asarray(sum(losses), dtype=float) + p_rails
    for key, loss in wire_loss.items():
        parts = hw.wires.get(key)
        if parts is not None and parts.on_board:
            on_board = on_board + loss
    board = c.temp_ambient + hw.r_board * on_board
    temps: dict[str, Floats] = {"board": board}
    for key, loss in wire_loss.items():
        parts = hw.wires.get(key)
        temps[key] = board + parts.rth * loss / parts.bodies if parts is not None and parts.on_board else c.temp_ambient
    for name, hot in hw.stage.hot.items():
        temps[name] = board + hot.rth * heats[name]
    return temps


def _package(
    path: PowerPath,
    state: State,
    c: Conditions,
    layout: Layout,
    x: Floats,
    losses: StageLosses,
    wave: StageWaveform,
    wire_loss: dict[WireKind, Floats],
    temps: dict[str, Floats],
    p_rails: Floats,
    status: npt.NDArray[np.int8],
) -> Solution:
    bad = status != SOLVED
    blank = np.where(bad, np.nan, 0.0)
    return Solution(
        path=path,
        state=state,
        conditions=c,
        v={node: layout.voltage(x, node, c) + blank for node in layout.nodes},
        i={key: layout.current(x, key) + blank for key in layout.wires},
        i_a=layout.port(x, "i_a") + blank,
        i_b=layout.port(x, "i_b") + blank,
        losses=StageLosses(*(np.asarray(v, dtype=float) + blank for v in losses)),
        waveform=StageWaveform(*(np.asarray(v, dtype=float) + blank for v in wave)),
        wire_loss={key: loss + blank for key, loss in wire_loss.items()},
        p_load=c.p_load + blank,
        p_rails=p_rails + blank,
        temp={name: t + blank for name, t in temps.items()},
        status=status,
    )
