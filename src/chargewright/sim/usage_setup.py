"""Pack and charger as the usage engine takes them: tables at the pack's terminals, rules, all in flat stores."""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import OutOfRange
from chargewright.parts.cell import SOC_TOP, Array, ocv, pair_resistance, pair_tau, r0
from chargewright.parts.pack import Pack, cell_kinds
from chargewright.sim import _usage_pack as cells
from chargewright.sim._charge_fold import fold_rules
from chargewright.sim._usage_pack import PackTables as PackTables
from chargewright.sim._usage_path import PathTables as PathTables
from chargewright.sim.charge_setup import FINE, ChargeSettings, require_sense
from chargewright.sim.usage_rules import Rules

_POINTS = 1051
"""Points of the rest voltage: every 0.1 % of charge."""
_ROWS = 101
_COLUMN_STEP = 2.0
TURNS_IN = 0.02
"""Share of the charge in which a rest voltage with hysteresis goes from one branch to the other by all but 37 % (our
choice: tables of two branches do not tell it, and cells take from one to some ten percent)."""


def fold_pack(pack: Pack, *, self_discharge: float = 0.0, thermal_resistance: float | None = None) -> PackTables:
    """Return the pack as the kernel takes it.

    self_discharge     : share of the rated capacity that is lost [1/s]
    thermal_resistance : of the whole pack to its surroundings [K/W]; that of the cells side by side if None
    """
    cell, many = pack.cell, pack.series / pack.parallel
    soc = np.linspace(0.0, SOC_TOP, _POINTS)
    rest = pack.series * np.asarray(ocv(cell, soc, cell.temp_ref))
    q_step = pack.charge_span * SOC_TOP / (_POINTS - 1)
    energy = np.concatenate([[0.0], np.cumsum(0.5 * (rest[1:] + rest[:-1]))]) * q_step
    low, high = float(cell.temp[0]), float(cell.temp[-1])
    columns = max(2, math.ceil((high - low) / _COLUMN_STEP) + 1)
    rows, temps = np.linspace(0.0, 1.0, _ROWS)[:, None], np.linspace(low, max(high, low + 1.0), columns)
    if len(cell.pairs) > cells.PAIRS:
        raise OutOfRange(f"the cell {cell.key} has {len(cell.pairs)} RC pairs; a usage run takes {cells.PAIRS}")
    pairs = range(len(cell.pairs))
    tables = [
        table * many + np.zeros((_ROWS, columns))
        for charging in (False, True)
        for table in (
            r0(cell, rows, temps, charging),
            *(pair_resistance(cell, k, rows, temps, charging) for k in pairs),
        )
    ]
    taus = [pair_tau(cell, k, rows, temps) + np.zeros((_ROWS, columns)) for k in pairs]
    slope = pack.series * np.interp(soc, cell.soc_ocv, cell.docv_dt)
    branches = [] if cell.ocv_charge is None or cell.ocv_discharge is None else [cell.ocv_charge, cell.ocv_discharge]
    apart = [pack.series * np.abs(np.interp(soc, cell.soc_ocv, b - cell.ocv)) for b in branches]
    store, places = joined([rest, energy, slope, *tables, *taus, *apart])
    kinds = cell_kinds(pack)
    return PackTables(
        store=store,
        span=pack.charge_span,
        q_step=q_step,
        per_q=1.0 / q_step,
        points=_POINTS,
        rest=places[0],
        energy=places[1],
        slope=places[2],
        temp_ref=cell.temp_ref,
        rows=_ROWS,
        columns=columns,
        row_step=1.0 / (_ROWS - 1),
        temp_low=low,
        temp_step=float(temps[1] - temps[0]),
        pairs=len(cell.pairs),
        resistance=places[3],
        tau=places[3 + len(tables)] if taus else 0,
        lead=pack.lead_resistance,
        unsensed=pack.lead_resistance if pack.sensed_at == "cells" else 0.0,
        heat_capacity=cell.heat_capacity * pack.cells,
        thermal_resistance=cell.thermal_resistance / pack.cells if thermal_resistance is None else thermal_resistance,
        v_empty=pack.v_empty,
        i_most=pack.i_discharge_max,
        i_self=self_discharge * pack.capacity,
        spread=len(kinds) > 1,
        one_capacity=kinds[0].capacity,
        one_resistance=kinds[0].resistance,
        one_ahead=kinds[0].ahead * pack.charge_span,
        i_balance=pack.balance_current if len(kinds) > 1 else 0.0,
        v_balance=pack.balance_from * pack.series,
        one_share=1.0 / pack.series,
        turns=1.0 / (TURNS_IN * pack.charge_span) if branches else 0.0,
        upper=places[-2],
        lower=places[-1],
        v_protect=pack.series * max(cell.limits.v_upper, pack.v_cell_max),
    )


def fold_charger(
    pack: Pack,
    settings: ChargeSettings,
    *,
    recharge_drop: float,
    standby: float,
    ambient: npt.ArrayLike,
    enclosure: float = 0.0,
    headroom: float = 0.05,
    dwell: float = 2.0,
    restart: float = 60.0,
    retry: float = 1.0,
    discharge_back: float = 2.0,
    wake: float = 5.0,
    longest: float = 60.0,
    steady: int = 5,
    calm: int = 10,
    row_every: float = 60.0,
) -> Rules:
    """Return what rules the steps.

    recharge_drop : fall per cell of the rest voltage that starts a new charge [V]
    standby       : power that the rails draw while the product is shut down [W]
    ambient       : temperature around the product through the day, at equal distances, the last equal to the first [K]
    enclosure     : rise of the pack's surroundings over the path's loss [K/W]
    headroom      : share of the source's limit that is free again before supplement ends [1]
    dwell, restart, wake : least time in supplement, least time shut down, length of a wake-up [s]
    retry         : how long a source that has tripped stays off before it tries again [s]
    discharge_back : how far a pack that is too cold or too hot to give has to return before it gives again [K]
    longest               : longest step [s]
    steady, calm          : how many steps are taken at once while nothing is near its end, and while a full pack rests
    row_every             : least time between rows of the trace [s]; 0 for a row at every step
    """
    require_sense(settings)
    around = np.atleast_1d(np.asarray(ambient, dtype=float))
    around = np.repeat(around, 2) if len(around) == 1 else around
    charge = fold_rules(pack, settings, None, temp_ambient=float(around[0]), accuracy=FINE)
    regions = charge.regions * (1.0, 1.0, pack.parallel, pack.series)
    low = [(v, i) for v, i, _longest in ([settings.wake] if settings.wake is not None else [])]
    low.append((settings.v_precharge, settings.i_precharge))
    stages = np.array([*low, *settings.steps])
    return Rules(
        store=joined([regions, around, stages])[0],
        region_count=len(regions),
        ambient_count=len(around),
        stage_count=len(stages),
        low_stages=len(low),
        v_set=settings.v_set,
        i_charge=settings.i_charge,
        i_termination=settings.i_termination,
        v_recharge=settings.v_set - recharge_drop * pack.series,
        timer=settings.timer,
        precharge_timer=settings.precharge_timer,
        timer_speed=settings.timer_speed,
        headroom=headroom,
        dwell=dwell,
        retry=retry,
        temp_cold=pack.cell.limits.temp_discharge_low,
        temp_hot=pack.cell.limits.temp_discharge_high,
        temp_back=discharge_back,
        restart=restart,
        wake=wake,
        standby=standby,
        enclosure=enclosure,
        longest=longest,
        steady=steady,
        calm=calm,
        row_every=row_every,
    )


def energy_at(pack: PackTables, charge: float) -> float:
    """Return the energy of the cells above state of charge 0, at their reference temperature [J]."""
    return cells.stored(pack, charge)


def joined(tables: Sequence[Array]) -> tuple[Array, tuple[int, ...]]:
    """Return tables end to end in one store, and the place of each."""
    flat = [np.ravel(t) for t in tables]
    places = np.concatenate([[0], np.cumsum([len(f) for f in flat])])
    return np.concatenate(flat), tuple(int(p) for p in places[:-1])
