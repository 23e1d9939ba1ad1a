"""Which state a path is in under given conditions, and what it then draws, charges and loses.

The order in which a controller's limits act decides: charge with the wanted current; if the source would be beyond its
limit, share; if nothing is left for the pack, let it help (supplement), where the path can; a full pack rests. All
conditions are solved as arrays; each state only for the conditions that need it.
"""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from chargewright.network.graph import PowerPath, StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.solve import RUNAWAY, Conditions, Solution, solve
from chargewright.parts.pack import pack_dc_resistance, pack_ocv
from chargewright.parts.supply import Corner, Supply, feed
from chargewright.studies.situation import Situation

Floats = npt.NDArray[np.float64]
Edge = Literal["low", "typ", "high"]
Verdict = Literal["ok", "overloaded", "brown-out", "runaway", "no-solution"]


@dataclass(slots=True, kw_only=True)
class Operation:
    """What happens at each condition; arrays of shape (n,). Powers in W, currents in A, charge positive."""

    state: npt.NDArray[np.str_]
    """Key of the state; "" where none is possible."""
    p_source: Floats
    """Delivered at the source's connector."""
    i_source: Floats
    i_pack: Floats
    p_cells: Floats
    """Into the cells, at their rest voltage: what is stored."""
    v_pack: Floats
    """At the pack's terminals."""
    v_bus: Floats
    p_load: Floats
    p_loss: Floats
    """All losses in the product: path, stage, rails, pack."""
    hottest: Floats
    """Hottest part [K]."""
    overloaded: npt.NDArray[np.bool_]
    """The load asks for more than source and path can give without passing a limit."""
    brown_out: npt.NDArray[np.bool_]
    """The bus is below what the rails need."""
    depleted: npt.NDArray[np.bool_]
    """The pack gives while it is empty or below its lowest working voltage: it may for a peak, not for long."""
    runaway: npt.NDArray[np.bool_]
    solved: npt.NDArray[np.bool_]

    @property
    def lasts(self) -> npt.NDArray[np.bool_]:
        """Where the load can be carried for as long as nothing changes."""
        return self.solved & ~self.overloaded & ~self.brown_out & ~self.depleted


def source_side(supply: Supply, edge: Edge) -> dict[str, float]:
    """Return the source's part of `Conditions` at an edge of its tolerance.

    A band that is promised up to rated current (USB) has the droop inside it: at its low edge none comes on top.
    """
    corners: dict[Edge, Corner] = {"low": "low", "typ": "typical", "high": "high"}
    cable = {"low": supply.r_cable.high, "typ": supply.r_cable.typ, "high": supply.r_cable.low}[edge]
    at = feed(supply, corners[edge])
    return {"e_source": at.v_open, "r_source": at.r - cable, "r_cable": cable}


def source_limit(case: Situation, supply: Supply) -> float:
    """Return the source current that the product holds at most [A]: rated current less the margin of the rules."""
    return supply.i_rated * (1.0 - case.design.rules.source_margin)


def wanted_charge(case: Situation, soc: Any, temp: float) -> Floats:
    """Return the CC-CV charge current [A] at a state of charge: constant current, then what the charge voltage allows.

    i = min(i_cc, (v_full - ocv)/r_dc), with the lasting resistance of the pack; zero once the charge voltage leaves
    less than the termination current. Below the precharge threshold i_cc is the precharge current.
    """
    ocv = pack_ocv(case.pack, soc, temp)
    r = pack_dc_resistance(case.pack, soc, temp, True)
    held = np.clip((case.v_full - ocv) / r, 0.0, None)
    precharge = np.where(ocv < case.pack.v_precharge, case.i_precharge, case.i_charge)
    return np.where(held < case.i_termination, 0.0, np.minimum(precharge, held))


def bus_setting(case: Situation, path: PowerPath, key: StateKey, v_pack: Any) -> Any:
    """Return the voltage [V] at which a path holds its bus where the state holds it.

    Narrow bus with a resting or missing pack: a little above the full pack. Flat pack: the bus floor, or a little above
    the pack if that is higher. Battery boost: a little above what the rails need.
    """
    above = case.design.rules.floor_above_empty
    if key == "battery-boost":
        return np.maximum(case.bus_min + above, v_pack + above)
    if key == "flat-pack":
        return np.maximum(np.maximum(case.bus_min + above, case.pack.v_precharge), v_pack + above)
    if path.key == "parallel":
        return case.v_full
    return case.v_full + above


def conditions(
    case: Situation,
    path: PowerPath,
    key: StateKey,
    supply: Supply | None,
    *,
    soc: Any,
    p_load: Any,
    temp: float,
    edge: Edge = "typ",
    i_pack: Any = None,
) -> Conditions:
    """Return the solver's conditions of one state; arrays broadcast.

    i_pack : pack current to hold [A]; None takes the wanted charge at that state of charge
    """
    charging = key not in ("battery", "battery-boost", "supplement", "off")
    ocv = pack_ocv(case.pack, soc, temp)
    target = wanted_charge(case, soc, temp) if i_pack is None else i_pack
    fed = source_side(supply, edge) if supply is not None else {}
    return Conditions(
        **fed,
        e_cells=ocv,
        r_pack=pack_dc_resistance(case.pack, soc, temp, charging),
        p_load=p_load,
        i_source=source_limit(case, supply) if supply is not None else 0.0,
        i_pack=target,
        v_bus=bus_setting(case, path, key, ocv),
        temp_ambient=temp,
    )


def operate(
    case: Situation,
    path: PowerPath,
    hardware: Hardware,
    supply: Supply | None,
    *,
    soc: Any,
    p_load: Any,
    temp: float = 298.15,
    edge: Edge = "typ",
    may_charge: bool = True,
    pass_through: bool = False,
) -> Operation:
    """Return state and flows for every combination of `soc` and `p_load` (they broadcast).

    supply       : the contract in force, or None on the pack alone
    temp, edge   : ambient [K] and the edge of the source's tolerance
    may_charge   : False keeps the pack at rest (full, too cold, or forbidden)
    pass_through : whether the source's voltage may go straight onto the bus
    """
    soc, p_load = (np.ravel(a).astype(float) for a in np.broadcast_arrays(soc, p_load))
    found = _blank(len(soc), p_load)
    if supply is None:
        _battery(case, path, hardware, found, soc, p_load, temp)
        found.depleted = _depleted(case, found, soc)
        return found
    wanted = wanted_charge(case, soc, temp) if may_charge else np.zeros(len(soc))
    charge = wanted > 0.0
    limit = source_limit(case, supply)

    def attempt(key: StateKey, where: npt.NDArray[np.bool_], i_pack: Any = None) -> None:
        if path.state(key) is not None and where.any():
            held = (wanted if i_pack is None else i_pack)[where]
            c = conditions(
                case, path, key, supply, soc=soc[where], p_load=p_load[where], temp=temp, edge=edge, i_pack=held
            )
            _record(case, path, found, key, where, hardware, c)

    attempt("charging", charge)
    if any(s.key == "flat-pack" and s.linear is not None for s in path.states):
        # A pack that pulls its bus too low is charged through its switch as a linear element, the bus at its floor.
        attempt(
            "flat-pack",
            charge & (found.brown_out | ~found.solved) & ~found.runaway,
            np.minimum(wanted, case.i_precharge),
        )
    attempt("source-only", ~charge)
    if pass_through:
        attempt("pass-through", ~charge)
    beyond = ~found.solved | (found.i_source > limit * (1.0 + 1e-9))
    attempt("shared", beyond & charge)
    short = beyond & (~charge | ~found.solved | (found.i_pack < 0.0))
    if path.state("supplement") is not None:
        attempt("supplement", short)
    else:
        attempt("source-only", short)
    found.overloaded = ~found.solved | (found.i_source > limit * (1.0 + 1e-6))
    found.overloaded |= found.i_pack < -case.pack.i_discharge_max
    found.depleted = _depleted(case, found, soc)
    return found


def _depleted(case: Situation, found: Operation, soc: Floats) -> npt.NDArray[np.bool_]:
    # At rest an empty pack stands a little above its lowest voltage when it is warm; it is empty all the same.
    return np.asarray((found.i_pack < 0.0) & ((found.v_pack < case.pack.v_empty) | (soc <= 0.0)), dtype=bool)


def _battery(
    case: Situation, path: PowerPath, hw: Hardware, found: Operation, soc: Floats, p_load: Floats, temp: float
) -> None:
    everywhere = np.ones(len(soc), dtype=bool)
    c = conditions(case, path, "battery", None, soc=soc, p_load=p_load, temp=temp, i_pack=0.0)
    _record(case, path, found, "battery", everywhere, hw, c)
    if path.state("battery-boost") is not None:
        low = found.brown_out | ~found.solved
        if low.any():
            c = conditions(case, path, "battery-boost", None, soc=soc[low], p_load=p_load[low], temp=temp, i_pack=0.0)
            _record(case, path, found, "battery-boost", low, hw, c)
    found.overloaded = ~found.solved | (found.i_pack < -case.pack.i_discharge_max)


def _blank(n: int, p_load: Floats) -> Operation:
    nan = np.full(n, np.nan)
    no = np.zeros(n, dtype=bool)
    return Operation(
        state=np.full(n, "", dtype="<U16"),
        p_source=nan.copy(),
        i_source=nan.copy(),
        i_pack=nan.copy(),
        p_cells=nan.copy(),
        v_pack=nan.copy(),
        v_bus=nan.copy(),
        p_load=p_load,
        p_loss=nan.copy(),
        hottest=nan.copy(),
        overloaded=no.copy(),
        brown_out=no.copy(),
        depleted=no.copy(),
        runaway=no.copy(),
        solved=no.copy(),
    )


def _record(
    case: Situation,
    path: PowerPath,
    found: Operation,
    key: StateKey,
    where: npt.NDArray[np.bool_],
    hw: Hardware,
    c: Conditions,
) -> None:
    state = path.state(key)
    assert state is not None, "the caller asks only for states that the path has"
    s = solve(path, state, hw, c)
    fine = s.ok & ~in_dropout(case, s)
    zero = np.zeros(len(s.status))
    i_source = s.i.get("source", zero)
    i_pack = s.i.get("pack", zero)
    found.state[where] = np.where(fine, key, "")
    found.i_source[where] = i_source
    found.p_source[where] = s.v["connector"] * i_source if state.source else zero
    found.i_pack[where] = i_pack
    found.p_cells[where] = s.conditions.e_cells * i_pack
    found.v_pack[where] = s.conditions.e_cells + s.conditions.r_pack * i_pack
    found.v_bus[where] = s.v[path.load_at]
    found.p_loss[where] = product_loss(s)
    found.hottest[where] = np.max([t for name, t in s.temp.items() if name not in ("source", "cable", "pack")], axis=0)
    found.solved[where] = fine
    found.runaway[where] = s.status == RUNAWAY
    found.brown_out[where] = ~(s.v[path.load_at] >= case.bus_min)


def in_dropout(case: Situation, s: Solution) -> npt.NDArray[np.bool_]:
    """Return where a two-switch stage would need more duty than it has: such a point is none, whatever the sums say."""
    if s.path.stage.legs != "buck" or s.state.stage not in ("forward", "reverse"):
        return np.zeros(len(s.status), dtype=bool)
    duty = s.waveform.d_in if s.state.stage == "forward" else s.waveform.d_out
    return np.asarray(duty > case.design.rules.duty_max, dtype=bool)


def for_peaks(case: Situation, hardware: Hardware) -> Hardware:
    """Return the hardware as a load peak finds it: a peak under a second warms parts by its mean heat only.

    All thermal resistances are scaled by the share of time in peaks; what is warm already from the load between the
    peaks is left out. A longer peak counts as lasting. Time constants of parts of about a second: common practice.
    """
    peak = case.design.system.peak
    if peak is None or peak.duration > 1.0:
        return hardware
    share = max(peak.duty, 0.01)
    stage = hardware.stage
    return replace(
        hardware,
        wires={k: replace(w, rth=w.rth * share) for k, w in hardware.wires.items()},
        stage=replace(stage, hot={k: replace(h, rth=h.rth * share) for k, h in stage.hot.items()}),
        r_board=hardware.r_board * share,
    )


def product_loss(s: Solution) -> Floats:
    """Return all losses [W] of a solved state inside the product: not in the source and not in its cable."""
    inside = [loss for key, loss in s.wire_loss.items() if key not in ("source", "cable")]
    return np.asarray(sum(inside, s.p_stage + s.p_rails), dtype=float)
