"""Codes of the usage kernel and what rules it: charger, supplement, restart; and the books it keeps."""

from typing import Any, NamedTuple

OFF, ASLEEP, ON_BATTERY, CHARGING, SHARED, FULL, WAITING, SUPPLEMENT, PRECHARGE, NO_PACK = range(10)
STATES = (
    "off",
    "pack asleep",
    "battery",
    "charging",
    "shared",
    "source only",
    "charge waits",
    "supplement",
    "flat pack",
    "no pack",
)
"""What the path does, by code: `OFF` is shut down for want of power, `WAITING` is a pack that cannot be charged."""

(
    NONE,
    BY_PRECHARGE,
    BY_CURRENT,
    BY_VOLTAGE,
    BY_SOURCE,
    BY_SOURCE_VOLTAGE,
    BY_TEMPERATURE,
    BY_TIMER,
    BY_HEADROOM,
    PACK_EMPTY,
    BUS_LOW,
    PACK_CURRENT,
    OVERLOAD,
    SLEEPS,
    PACK_COLD,
    PACK_HOT,
    CELL_EMPTY,
) = range(17)
LIMITS = (
    "none",
    "precharge current",
    "charge current",
    "charge voltage",
    "source current",
    "source voltage",
    "temperature",
    "timer",
    "headroom after supplement",
    "pack empty",
    "bus too low",
    "pack current",
    "source overloaded",
    "pack asleep",
    "pack too cold to give",
    "pack too hot to give",
    "lowest cell empty",
)
"""Which limit is in force, by code; from `PACK_EMPTY` on, why a load is not served."""
LIMIT_COUNT = len(LIMITS)

FELL_ASLEEP, WOKE, FILLED, RECHARGED, TIMED_OUT, TOO_COLD, TOO_HOT, TRIPPED, RETURNED, CELL_HIGH = range(
    LIMIT_COUNT, LIMIT_COUNT + 10
)
EVENTS = (
    *LIMITS,
    "pack fell asleep",
    "pack woken",
    "charge ended",
    "charge resumed",
    "charge timer ran out",
    "too cold to charge",
    "too hot to charge",
    "source tripped",
    "source back",
    "highest cell too high",
)
"""What happened, by code; the first ones are shut-downs by their limit."""

DOWN, IS_FULL, TIMED, SLEEPING, REGION, HELPING, FEED, SIGN, AT_LOAD, WHY, BLOCKED, ROWS, NOTED, PACE, OUT = range(15)
"""Places of the flags: shut down, charge ended, timer ran out, pack asleep, temperature region, supplement in force,
source, sign of the pack current, segment of the load axis, why down, charge blocked by temperature, rows written,
events noted, how calm it is, whether the source has tripped."""
FLAGS = 15

(
    E_ASKED, E_LOAD, T_UNSERVED, T_OVER, T_BEYOND, T_SOURCE, E_SOURCE, Q_IN, Q_OUT, E_IN, E_OUT, S_IN, S_OUT,
    HEAT_CELLS, HEAT_LEADS, E_PAIRS, E_ENTROPIC, E_WARMTH, Q_SELF, E_SELF, E_PATH, E_HELP, T_BLOCKED, FLIPS,
    SOC_LOW, SOC_HIGH, SOC_END, TEMP_LOW, TEMP_HIGH, I_HIGH, T_OUT, TRIPS, T_REFUSED, V_HIGH,
) = range(34)  # fmt: skip
DAY_COLUMNS = 34
"""Sums of a day [J, C, s], then extremes. `T_OVER`: the source gives more than it may lastingly; `T_BEYOND`: a load is
not served because source or pack would have to; `T_OUT`, `TRIPS`: how long the source is off after it has tripped, and
how often it trips; `T_REFUSED`: the temperature of the pack keeps it from giving; `V_HIGH`: highest cell [V]."""

RETURNS, RETRIES, LATCHES = range(3)
"""What a source does that has tripped: it comes back as soon as the load is small enough, it tries again after a while,
or it waits to be plugged in again."""

ROW_COLUMNS = 11
"""Of the trace: time, state of charge, pack current, terminal voltage, temperature, source power, load power, loss,
state, limit, source."""
SOC_BINS = 200


class Rules(NamedTuple):
    """What rules the steps."""

    store: Any
    """Region by region of temperature: what leaves it upwards and downwards, current and voltage allowed in it; then
    the ambient temperature through the day at equal distances, the last equal to the first [K]; then for each stage
    before the full charge current the sensed voltage that ends it and its current."""
    region_count: int
    ambient_count: int
    stage_count: int
    low_stages: int
    """How many stages come before the charge proper: wake-up and precharge."""
    v_set: float
    i_charge: float
    i_termination: float
    v_recharge: float
    """Rest voltage below which a pack that was full is charged again."""
    timer: float
    precharge_timer: float
    timer_speed: float
    """Speed of the timer while the source cuts the charge back: 1 runs on, 0 pauses."""
    headroom: float
    """Share of the source's limit that has to be free before supplement ends [1]."""
    dwell: float
    """Least time in supplement [s]."""
    retry: float
    """How long a source that has tripped stays off before it tries again [s]."""
    temp_cold: float
    temp_hot: float
    temp_back: float
    """Temperatures between which the pack gives current, and how far it has to return before it does so again [K]."""
    restart: float
    """Least time shut down [s]."""
    wake: float
    """How long a pack that is asleep takes to be woken [s]."""
    standby: float
    enclosure: float
    """Rise of the pack's surroundings over the loss of the path [K/W]."""
    longest: float
    """Longest step [s]."""
    steady: int
    """How many steps are taken at once while a load stays and nothing is near its end."""
    calm: int
    """And while the pack is full and rests."""
    row_every: float


class Books(NamedTuple):
    """What is added up: one store, of which a field gives the place of a table."""

    store: Any
    sources: int
    days: int
    """(day, column)"""
    by_source: int
    """(day, source, 2): seconds there, joules given at its connector."""
    seconds: int
    """(state, limit)"""
    counts: int
    """By event."""
    soc_time: int
    """(source + 1, bin of state of charge): seconds with a load above standby; the first row is without a source."""
    events: int
    """(n, 4): time, event, state of charge, source."""
    event_room: int
    rows: int
    row_room: int
