"""A power path that is a formula: a fixed loss and an efficiency each way, so that flows can be worked out by hand."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from chargewright.parts.pack import Pack
from chargewright.sim import usage_rules as code
from chargewright.sim.charge_setup import ChargeSettings
from chargewright.sim.usage import Series, UsageSums, rested, run_usage
from chargewright.sim.usage_setup import PathTables, fold_charger, fold_pack, joined

TEMP = 298.15


def path_of(
    *,
    limits: Sequence[float] = (60.0,),
    loads: Sequence[float] = (0.0, 100.0),
    v: tuple[float, float] = (1.0, 30.0),
    most_into: float = 200.0,
    fixed: float = 0.0,
    eta_charge: float = 1.0,
    eta_help: float = 1.0,
    eta_battery: float = 1.0,
    bus_fails_below: float = 0.0,
    helps: bool = True,
    rated: Sequence[float] | None = None,
    trip: float = 0.0,
    trip_time: float = 0.0,
    trip_kind: int = code.RETURNS,
    exposed: bool = False,
    feed: Sequence[int] | None = None,
    i_flat: float = 0.1,
) -> PathTables:
    """Return tables for which source = load + fixed + into/eta_charge, or into·eta_help where power comes out.

    bus_fails_below : pack voltage under which the rails do not run on the pack [V]
    """
    into = np.array([-most_into, -1.0, 0.0, 1.0, most_into])
    voltages, load = np.linspace(*v, 4), np.asarray(loads, dtype=float)
    paid = np.where(into > 0.0, into / eta_charge, into * eta_help)
    n = len(limits)
    charge = np.zeros((n, len(voltages), len(load), len(into))) + load[:, None] + fixed + paid
    rest = np.zeros((n, len(load))) + load + fixed
    corner = np.zeros((n, len(voltages), len(load)))
    battery = np.zeros((len(voltages), len(load))) + load / eta_battery
    bus = (voltages[:, None] / bus_fails_below - 1.0) + 0.0 * load if bus_fails_below else 1.0 + 0.0 * battery
    parts = {
        "load": load,
        "into": into,
        "charge_source": charge,
        "charge_bus": 1.0 + 0.0 * charge,
        "into_low": corner - (most_into if helps else 0.0),
        "into_high": corner + most_into,
        "rest_source": rest,
        "rest_bus": 1.0 + 0.0 * rest,
        "flat_source": corner - 1.0,
        "flat_bus": corner - 1.0,
        "battery_power": battery,
        "battery_bus": bus,
        "beside": 0.0 * battery,
        "limit": np.asarray(limits, dtype=float),
        "rated": np.asarray(limits, dtype=float) if rated is None else np.asarray(rated, dtype=float),
        "trip": np.full(n, trip),
        "trip_time": np.full(n, trip_time),
        "trip_kind": np.full(n, trip_kind),
        "feed": np.arange(n) if feed is None else np.asarray(feed),
    }
    store, at = joined([np.asarray(x, dtype=float) for x in parts.values()])
    return PathTables(
        store=store,
        v_low=float(voltages[0]),
        per_v=1.0 / float(voltages[1] - voltages[0]),
        v_count=len(voltages),
        load_count=len(load),
        into_count=len(into),
        i_flat=i_flat,
        helps=helps,
        exposed=exposed,
        floats=False,
        **dict(zip(parts, at, strict=True)),
    )


def settings_of(pack: Pack, *, i_charge: float, i_termination: float, **more: Any) -> ChargeSettings:
    """Return a charger's settings without timers."""
    wanted = ChargeSettings(
        v_set=pack.v_full,
        i_charge=i_charge,
        v_precharge=pack.v_precharge,
        i_precharge=min(0.1, i_charge),
        i_termination=i_termination,
        timer=float("inf"),
        precharge_timer=float("inf"),
    )
    return replace(wanted, **more)


def series_of(stretches: Sequence[tuple[float, float, int]], sources: int = 1) -> Series:
    """Return a series from (duration, power, source) with -1 for no source."""
    return Series(
        duration=np.array([s[0] for s in stretches], dtype=float),
        power=np.array([s[1] for s in stretches], dtype=float),
        source=np.array([s[2] for s in stretches], dtype=np.int8),
        sources=tuple(f"source {k}" for k in range(sources)),
    )


def run(
    pack: Pack,
    path: PathTables,
    stretches: Sequence[tuple[float, float, int]],
    *,
    soc: float,
    settings: ChargeSettings | None = None,
    length: float | None = None,
    engine: Any = "plain",
    temp: float = TEMP,
    self_discharge: float = 0.0,
    **rules: Any,
) -> UsageSums:
    """Return a run of an ideal path, every step a row of the trace."""
    tables = fold_pack(pack, self_discharge=self_discharge)
    wanted = settings or settings_of(pack, i_charge=1.0, i_termination=0.05)
    given = {"recharge_drop": 0.1, "standby": 0.0, "ambient": temp, "longest": 1.0, "row_every": 0.0}
    given = given | {"steady": 1, "calm": 1} | rules
    charger = fold_charger(pack, wanted, **given)
    start = rested(pack, tables, charger, soc=soc, temp=temp)
    series = series_of(stretches, len(np.unique([s[2] for s in stretches if s[2] >= 0])) or 1)
    whole = sum(s[0] for s in stretches) if length is None else length
    steps = int(whole / given["longest"]) + len(stretches) * 2 + 10
    return run_usage(tables, path, charger, series, start=start, length=whole, rows=min(steps, 200_000), engine=engine)


def rows_of(sums: UsageSums) -> dict[str, np.ndarray]:
    """Return the trace by name."""
    names = ("t", "soc", "i", "v", "temp", "p_source", "p_load", "p_loss", "state", "limit", "source")
    return {name: sums.rows[:, k] for k, name in enumerate(names)}


def seconds(sums: UsageSums, *, state: str | None = None, limit: str | None = None) -> float:
    """Return the time in a state, under a limit, or both [s]."""
    states = range(len(code.STATES)) if state is None else [code.STATES.index(state)]
    limits = range(len(code.LIMITS)) if limit is None else [code.LIMITS.index(limit)]
    return float(sum(sums.seconds[k, m] for k in states for m in limits))


def count(sums: UsageSums, event: str) -> int:
    """Return how often something happened."""
    return int(sums.counts[code.EVENTS.index(event)])
