"""Codes of the event-order automaton and the figures that rule it.

Discrete: what source, input, battery switch, pack, supplement and load are doing, with a clock for each that waits for
something. Continuous: the energies of the capacitors at the stage's input and on the bus, the stage's current or power,
the pack's polarisation.
"""

from typing import NamedTuple

SRC, IN, BAT, PACK, HELP, LOAD, WANT, STEP, SOC, OVER, AT, ASKED = range(12)
"""Places of the discrete state; `AT` says which contract is in force: 0 the default one, 1 the chosen one; `ASKED`
whether the host asks for the chosen one."""
DISCRETE = 12

ABSENT, GIVES, MOVES, RESETS, RESTS, TRIPPED = range(6)
SOURCE_WORDS = ("absent", "on", "changing its voltage", "about to give voltage", "off for its restart", "latched off")
"""Source: `MOVES` to a new contract, `RESETS` after plugging and after a hard reset, `RESTS` in hiccup, `TRIPPED`
until it is re-plugged."""

WAITS, CHECKS, RAMPS, FED, RETRIES = range(5)
INPUT_WORDS = ("open", "checking", "soft start", "closed", "waiting to retry")
"""What the controller does with its input."""

OPEN, CLOSES, CLOSED, LINEAR = range(4)
SWITCH_WORDS = ("open", "about to close", "closed", "linear")
"""Battery switch; its body diode conducts towards the bus while it is not closed."""

NONE, FITTED, CUT = range(3)
PACK_WORDS = ("absent", "fitted", "protection open")

ALONE, FEELS, HELPS, LEAVES = range(4)
HELP_WORDS = ("none", "detecting", "helping", "about to end")
"""Supplement."""

OFF, HELD, STARTS, BOOTS, RUNS, PEAKS, LOCKED = range(7)
LOAD_WORDS = ("off", "bus too low", "restart delay", "starting", "running", "peak", "locked out")
"""Load: `HELD` is in reset, `STARTS` waits for its restart delay, `LOCKED` stays off until a source or a pack comes."""

FLAT, HALF, FULL = range(3)
CHARGE_WORDS = ("flat", "half full", "full")

C_SOURCE, C_OVER, C_INPUT, C_SWITCH, C_PACK, C_HELP, C_LOAD, C_SHUT, C_STOP = range(9)
CLOCKS = 9
"""Deadlines [s]; inf where nothing is waited for. `C_STOP` is where whoever runs the automaton wants it back."""

(
    T, W_IN, W_BUS, X, U, STEP_NEXT, V_IN, V_BUS, I_SOURCE, I_PACK, V_CONNECTOR, P_LOAD,
) = range(12)  # fmt: skip
CONTINUOUS = 12
"""Time, energies at the input and on the bus, stage (pack current beside a wide bus, output power before a narrow one),
polarisation of the pack, next step; then what follows from them: volts, amps, watts."""

(
    E_SOURCE, E_PACK, E_LOAD, E_LOSS, E_STORED, I_PEAK, V_LOW, T_BEYOND, T_DIODE, V_IN_LOW, STEPS,
) = range(11)  # fmt: skip
SUMS = 11
"""Joules from the source, out of the cells, into the load, lost, stored in capacitors (rise); greatest source current;
lowest bus while the load is on; seconds above the source's rated current and with the pack in the body diode; lowest
voltage at the input while it is closed; steps."""

SETTLED, CHANGED, TIRED = range(3)
"""How a stretch ended: at rest, with a change of discrete state, with no steps left."""

CONSTANT, FOLDS, HICCUPS, LATCHES = range(4)
KINDS = ("constant-current", "fold-back", "hiccup", "latch-off")


class Machine(NamedTuple):
    """One path on one source, SI. Values of a pair are for the default contract and for the chosen one."""

    narrow: bool
    """Whether the stage feeds the bus; else it hangs between bus and pack."""
    switched: bool
    """Whether a battery switch can take the pack off the bus (not in a parallel path)."""
    helps: bool
    """Whether the pack can help the source."""
    buck: bool
    kind: int
    """Overload behaviour of the source, by code."""
    talks: bool
    """Whether the source starts with a default contract and has to be asked for the chosen one."""
    e_0: float
    e_1: float
    """Open voltage of the source."""
    i_rated_0: float
    i_rated_1: float
    i_trip_0: float
    i_trip_1: float
    i_limit_0: float
    i_limit_1: float
    """Source current that the controller holds."""
    v_hold_0: float
    v_hold_1: float
    """Voltage at the inlet below which the controller cuts the charge back."""
    t_trip: float
    """How long more than the trip current is stood."""
    fold: float
    """Current of a fold-back source into a short, over its trip current."""
    beyond: float
    """Greatest current before a hiccup or latching source acts, over its trip current."""
    t_off: float
    """Off time of a hiccup."""
    t_attach: float
    """From plugging to voltage."""
    t_move: float
    """From the contract's request to its voltage."""
    t_reset: float
    """From a hard reset to the default voltage."""
    t_dip: float
    """How long a dip of the source lasts."""
    r_line: float
    """Source and cable."""
    r_in: float
    """Blocking pair and sense resistor."""
    c_in: float
    c_bus: float
    g_in: float
    g_bus: float
    """What the controller and the switched-off product draw, as conductances."""
    v_good: float
    """Input at which the controller connects."""
    v_bad: float
    """And below which it lets go again."""
    t_check: float
    t_retry: float
    t_ramp: float
    """Longest soft start before it is given up."""
    slew: float
    """Rise in soft start."""
    loss_idle: float
    loss_share: float
    """Loss of the stage: at rest, and over the power that it gives."""
    p_most: float
    """Greatest output power of the stage."""
    duty_most: float
    tau: float
    """Lag of the regulation."""
    v_set: float
    """Bus that is held where no pack lies on it."""
    ocv_flat: float
    ocv_half: float
    ocv_full: float
    i_charge_flat: float
    i_charge_half: float
    r_pack: float
    """At once, with leads; and switch and sense resistor on the way to the bus."""
    r_switch: float
    r_slow: float
    """Polarisation in the end."""
    tau_slow: float
    i_pack_most: float
    v_diode: float
    v_below: float
    """How far the bus has to fall below a resting pack until its switch is closed."""
    t_close: float
    t_help: float
    """Detection delay of supplement."""
    t_leave: float
    """Dwell before supplement ends."""
    headroom: float
    """Share of the source limit that must be free before supplement ends, less the error of sensing it."""
    v_cut: float
    """Pack terminals at which the protection opens on discharge."""
    t_cut: float
    t_wake: float
    p_boot: float
    p_light: float
    p_busy: float
    p_peak: float
    t_boot: float
    t_peak: float
    v_off: float
    """Bus at which the load resets."""
    v_on: float
    """Bus at which it may start again."""
    v_shut: float
    """Pack terminals at which a product on the pack alone shuts itself down."""
    t_shut: float
    t_restart: float
    locks: bool
    """Whether a product that reset on the pack alone stays off until a source or another pack comes."""
