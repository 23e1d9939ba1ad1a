"""Every operating state of a path at its usual point and from flat to full pack: ledger, efficiency, temperatures."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.base.ledger import Ledger
from chargewright.base.units import show
from chargewright.network.graph import STATES, PowerPath, StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.ledger import ledger_of
from chargewright.network.solve import RUNAWAY, Solution, solve
from chargewright.parts.supply import Supply
from chargewright.studies.charge import usual_source
from chargewright.studies.needs import Plan
from chargewright.studies.operate import conditions, for_peaks, product_loss, source_limit
from chargewright.studies.situation import Situation

Floats = npt.NDArray[np.float64]
SOC_GRID = np.linspace(0.05, 0.95, 10)
_USUAL = int(np.argmin(np.abs(SOC_GRID - 0.5)))


@dataclass(frozen=True, slots=True, kw_only=True)
class StateReport:
    """One state of one path from one source."""

    key: StateKey
    title: str
    source: str
    """Name of the source, or "" where none is there."""
    contract: str
    solution: Solution
    """Over `soc`."""
    ledger: Ledger
    soc: Floats
    usual: int
    """Index of the point that is shown where a single one is."""
    efficiency: Floats
    """Load and stored energy over what comes in, source's own loss left out [1]."""
    p_loss: Floats
    """Losses inside the product [W]."""
    note: str

    @property
    def possible(self) -> bool:
        """Whether the usual point has a steady state."""
        return bool(self.solution.ok[self.usual])


def states_of(case: Situation, chosen: Plan, hardware: Hardware) -> tuple[StateReport, ...]:
    """Return all states of a path, at typical source and ambient, from the strongest source that the day uses."""
    name = usual_source(case, chosen)
    keys = [s.key for s in chosen.path.states if s.key != "pass-through" or name in chosen.through]
    return tuple(state_of(case, chosen.path, hardware, key, name, chosen.contracts[name]) for key in keys)


def state_of(
    case: Situation, path: PowerPath, hardware: Hardware, key: StateKey, name: str, supply: Supply
) -> StateReport:
    """Return one state of a path from one contract of the source `name`."""
    state = path.state(key)
    assert state is not None, "asked only for states that the path has"
    soc = np.zeros(1) if key == "flat-pack" else np.ones(1) if key in ("source-only", "pass-through") else SOC_GRID
    p_load, i_pack, note = _usual_load(case, key, supply)

    def solved(load: float) -> Solution:
        c = conditions(case, path, key, supply, soc=soc, p_load=load, temp=case.design.ambient.typical, i_pack=i_pack)
        return solve(path, state, for_peaks(case, hardware) if key == "supplement" else hardware, c)

    s = solved(p_load)
    limit = source_limit(case, supply)
    if key == "charging" and np.nanmax(s.i["source"], initial=0.0) > limit:
        # With the busiest load the source would be past its limit: that is the shared state, shown beside this one.
        calm = min(case.modes.values())
        s, note = solved(calm), f"calmest mode ({show(calm, 'W')}); the busiest one is shared"
    ledger = ledger_of(s)
    usual = 0 if len(soc) == 1 else _USUAL
    if s.status[usual] == RUNAWAY:
        note = "thermal runaway: no steady temperature exists"
    taken = ledger.total("in") - s.wire_loss.get("source", np.zeros(len(soc)))
    return StateReport(
        key=key,
        title=STATES[key],
        source=name if state.source else "",
        contract=supply.contract if state.source else "",
        solution=s,
        ledger=ledger,
        soc=soc,
        usual=usual,
        efficiency=np.asarray(ledger.total("out") / np.maximum(taken, 1e-12), dtype=float),
        p_loss=product_loss(s),
        note=note,
    )


def _usual_load(case: Situation, key: StateKey, supply: Supply) -> tuple[float, float | None, str]:
    """Return the load [W], the held pack current [A] (None: the charge plan's) and a note for a state's usual point."""
    if key == "off":
        return case.design.system.standby, None, "standby draw"
    if key == "flat-pack":
        return case.p_boot, case.i_precharge, "starting while the pack is precharged"
    if key == "shared":
        limit = source_limit(case, supply) * supply.v_set.typ
        load = min(case.p_busy, 0.9 * limit)
        return load, None, f"charge cut back so that the source stays at {source_limit(case, supply):.3g} A"
    if key in ("supplement", "battery-boost"):
        beyond = 1.1 * source_limit(case, supply) * supply.v_set.typ
        if key == "battery-boost":
            return case.p_busy, None, ""
        if case.p_peak > beyond:
            return case.p_peak, None, "the peak, carried by source and pack; temperatures of its mean heat"
        return beyond, None, "10 % more than the source may give; the design's own peak stays below that"
    return case.p_busy, None, ""
