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
from chargewright.network._system import Layout, newton_step
from chargewright.network.graph import PowerPath, State, WireKind
from chargewright.network.hardware import ABSENT, Hardware
from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt, drive_supply
from chargewright.network.sweep import COIL_AT, SETTING_AT, StageDesign, design_rows, sweep
from chargewright.parts import regulator
from chargewright.physics import conduction

Floats = npt.NDArray[np.float64]

# Every step of the solver evaluates these; the relations inside are taken without range checks and tracing.
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
_HOT_STEPS = 10
"""Steps in a row, after the sure ones, that a part may spend above the runaway limit before it counts as run away."""
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
_DUTY_TURN = SETTING_AT + Setting._fields.index("duty_turn")


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
    table = _StageTable.of(path, state, hw, n)
    x = layout.first_guess(c)
    temps = dict.fromkeys((*layout.wires, *hw.stage.hot, "board"), c.temp_ambient + _FIRST_RISE)
    p_rails, slope = _rails(hw, layout.voltage(x, path.load_at, c), c.p_load)
    d_out = np.zeros(n)
    solved, away, lost = (np.zeros(n, dtype=bool) for _ in range(3))
    done = solved | away | lost
    turn = np.zeros(n)
    hot_steps = np.zeros(n, dtype=np.int64)
    shown: _Shown | None = None
    for step in range(_MOST_STEPS):
        resistances = _wire_resistances(layout, hw, c, temps)
        losses, wave, r_through = _stage_losses(state, hw, table, layout, c, x, d_out, temps, turn)
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
            hot_steps = np.where(hottest > TEMP_RUNAWAY, hot_steps + 1, 0)
            away |= ~done & ((hottest >= 2.0 * TEMP_RUNAWAY) | (hot_steps > _HOT_STEPS))
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
    n = len(v_bus)
    both = rails_loss(hw.rails, np.concatenate([v_bus, v_bus * (1.0 + _SLOPE_STEP)]), np.tile(p_load, 2))
    return both[:n], (both[n:] - both[:n]) / (v_bus * _SLOPE_STEP)


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


@dataclass(frozen=True, slots=True)
class _StageTable:
    """The stage of every condition as a row of numbers, in the order of the power flow; made once for a solve."""

    rows: Floats
    """(n, COLUMNS) at 25 °C."""
    heated: tuple[tuple[int, str, float], ...]
    """Columns of the resistances that follow a temperature, whose, and by which coefficient [1/K]."""

    @classmethod
    def of(cls, path: PowerPath, state: State, hw: Hardware, n: int) -> "_StageTable":
        """Return the table; running backwards, legs and capacitors change their roles."""
        parts, setting = hw.stage, hw.stage.setting
        one_leg = 1.0 if path.stage.legs == "buck" else 0.0
        places = ("a_high", "a_low", "b_low", "b_high")
        setting = setting._replace(legs=one_leg)
        if state.stage == "reverse":
            places = ("b_high", "b_low", "a_low", "a_high")
            setting = setting._replace(legs=-one_leg, esr_in=setting.esr_out, esr_out=setting.esr_in)
        switches: dict[str, SwitchAt | None] = {place: getattr(parts, place) for place in places}
        ih, il, ol, oh = (s or ABSENT for s in switches.values())
        rows = design_rows(StageDesign(ih, il, ol, oh, parts.coil, setting))
        heated = [(k * len(SwitchAt._fields) + SwitchAt._fields.index("r_on"), place, hw.stage.hot[place].temp_co)
                  for k, place in enumerate(places) if switches[place] is not None]  # fmt: skip
        heated.append((COIL_AT + CoilAt._fields.index("r_dc"), "coil", hw.stage.hot["coil"].temp_co))
        return cls(np.repeat(rows, n, axis=0) if len(rows) != n else rows, tuple(heated))

    def points(
        self, v_in: Floats, v_out: Floats, i_coil: Floats, temps: dict[str, Floats], turn: Floats
    ) -> tuple[StageLosses, StageWaveform]:
        """Return losses and waveform of each condition at its temperatures."""
        rows = self.rows.copy()
        for column, place, temp_co in self.heated:
            rows[:, column] = resistance_at(rows[:, column], temp_co, temps[place])
        rows[:, _DUTY_TURN] = np.minimum(rows[:, _DUTY_TURN] + turn, 1.0)
        losses, waves = sweep(v_in, v_out, i_coil, rows, np.arange(len(rows)))
        return StageLosses(*losses.T.copy()), StageWaveform(*waves.T.copy())


def _stage_losses(
    state: State,
    hw: Hardware,
    table: _StageTable,
    layout: Layout,
    c: Conditions,
    x: Floats,
    d_out: Floats,
    temps: dict[str, Floats],
    turn: Floats,
) -> tuple[StageLosses, StageWaveform, Any]:
    v_a, v_b = (layout.voltage(x, node, c) for node in (layout.path.stage.a, layout.path.stage.b))
    if state.stage in ("off", "through"):
        return _standing(state, hw, layout, x, v_a, v_b, temps)
    forward = state.stage == "forward"
    i_out = layout.port(x, "i_b") if forward else -layout.port(x, "i_a")
    i_coil = np.maximum(i_out / np.maximum(1.0 - d_out, 1.0 - _D_OUT_MAX), 1e-6)
    v_in, v_out = (v_a, v_b) if forward else (v_b, v_a)
    return *table.points(v_in, v_out, i_coil, temps, turn), 0.0


def _standing(
    state: State, hw: Hardware, layout: Layout, x: Floats, v_a: Floats, v_b: Floats, temps: dict[str, Floats]
) -> tuple[StageLosses, StageWaveform, Any]:
    """Return losses of a stage that does not switch, and its resistance from port to port [Ω]."""
    parts, zero = hw.stage, np.zeros(len(x))
    r_high = [
        zero if part is None else resistance_at(part.r_on, parts.hot[place].temp_co, temps[place])
        for place, part in (("a_high", parts.a_high), ("b_high", parts.b_high))
    ]
    r_dc = resistance_at(parts.coil.r_dc, parts.hot["coil"].temp_co, temps["coil"])
    fed = v_a if state.stage == "through" or state.fed_from == "a" else v_b
    quiet = IDLE_SHARE * parts.setting.i_quiescent * drive_supply(fed, fed, parts.setting.v_drive)
    i = layout.port(x, "i_b") if state.stage == "through" else zero
    found = dict.fromkeys(StageLosses._fields, zero) | {
        "in_high_conduction": resistive_loss(i, r_high[0]),
        "out_high_conduction": resistive_loss(i, r_high[1]),
        "coil_winding": resistive_loss(i, r_dc),
        "quiescent": quiet + zero,
    }
    idle = StageWaveform(*([zero] * len(StageWaveform._fields)))
    wave = idle._replace(rms_coil=np.abs(i), i_peak=np.abs(i), d_in=zero + 1.0)
    return StageLosses(**found), wave, r_high[0] + r_dc + r_high[1]


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
