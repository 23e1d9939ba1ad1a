"""The situation that every study of one design starts from: what can feed it, what stores for it, what it draws.

Defaults that were filled in are said in `assumptions`, so that a twelve-line file leads to no silent guess.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from chargewright.base.errors import ChargewrightError
from chargewright.base.units import show
from chargewright.parts.contracts import contract_named, supplies
from chargewright.parts.pack import Pack, build_pack, pack_charge_current
from chargewright.parts.supply import Supply
from chargewright.setpoints.controller import Controller
from chargewright.setpoints.load import load_controller
from chargewright.spec.consistency import Contradiction
from chargewright.spec.design import Design
from chargewright.spec.load import design_error
from chargewright.spec.system import RailSpec, UsageSpec

HOUR = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """One design with everything resolved, SI."""

    design: Design
    folder: Path
    """Folder of the design file; relative paths start here."""
    sources: dict[str, tuple[Supply, ...]]
    """Source name to its contracts, strongest first."""
    pack: Pack
    rails: tuple[RailSpec, ...]
    modes: dict[str, float]
    """Mode name to the power that the rails deliver [W]."""
    usage: tuple[UsageSpec, ...]
    p_busy: float
    """Greatest lasting load [W]."""
    p_peak: float
    """Greatest short load [W]."""
    p_boot: float
    """Load while the product starts [W]."""
    i_charge: float
    """Charge current asked for, within what the cells allow at 25 °C [A]."""
    i_precharge: float
    i_termination: float
    bus_min: float
    """Lowest bus at which every rail works [V]."""
    bus_max: float
    """Highest bus that the rails and rules allow [V]; inf if nothing says."""
    controller: Controller
    """The controller that the design file names."""
    assumptions: tuple[str, ...]

    @property
    def v_full(self) -> float:
        """Full pack [V]."""
        return self.pack.v_full


def situation(design: Design, folder: Path, file: Path | None = None) -> Situation:
    """Return the resolved situation of a design. Raises ChargewrightError where the design cannot be resolved.

    file : the design file, so that what only shows here is told with its line; None for a design made in code
    """
    said: list[str] = []
    sources = {spec.name: supplies(spec) for spec in design.sources}
    unknown = list(_unknown_contracts(design.usage, sources))
    if unknown:
        raise design_error(file or folder / design.name, unknown)
    pack = build_pack(design.pack, folder)
    rails = _rails(design, pack, said)
    modes = _modes(design, rails, said)
    busy = max(modes.values())
    peak = design.system.peak.power if design.system.peak else busy
    boot = design.system.boot if design.system.boot is not None else min(busy, 0.5 * sum(r.power for r in rails))
    if design.system.boot is None:
        said.append(f"Starting the product is taken to need {show(boot, 'W')} (half of the full load).")
    floor, ceiling = _bus_limits(design, rails)
    capacity = pack.capacity
    asked = design.charge.current.amps(capacity)
    allowed = float(pack_charge_current(pack, 298.15))
    if asked > allowed:
        said.append(
            f"The charge current is cut from {show(asked, 'A')} to {show(allowed, 'A')}, the cells' limit at 25 °C."
        )
    return Situation(
        design=design,
        folder=folder,
        sources=sources,
        pack=pack,
        rails=rails,
        modes=modes,
        usage=design.usage or _generic_day(design, modes, said),
        p_busy=busy,
        p_peak=max(peak, busy),
        p_boot=boot,
        i_charge=min(asked, allowed),
        i_precharge=design.charge.precharge.amps(capacity),
        i_termination=design.charge.termination.amps(capacity),
        bus_min=floor,
        bus_max=ceiling,
        controller=load_controller(design.controller, folder),
        assumptions=tuple(said),
    )


def _unknown_contracts(usage: Sequence[UsageSpec], sources: dict[str, tuple[Supply, ...]]) -> Iterator[Contradiction]:
    for i, stretch in enumerate(usage):
        offered = sources.get(stretch.source, ())
        if stretch.contract is not None and offered and contract_named(offered, stretch.contract) is None:
            known = ", ".join(f'"{supply.contract}"' for supply in offered)
            yield Contradiction(
                key=f"usage[{i}].contract",
                message=f'"{stretch.source}" has no contract "{stretch.contract}"; it offers {known}.',
                cure="Name one of these, by all of it or by the voltage of a fixed one; or leave contract out.",
            )


def _rails(design: Design, pack: Pack, said: list[str]) -> tuple[RailSpec, ...]:
    if design.system.rails:
        return design.system.rails
    if design.system.load is None:
        raise ChargewrightError("system: give either `load` or `rails`, so that there is something to feed")
    voltage = 5.0 if pack.v_empty > 5.6 else 3.3
    said.append(f"The load of {show(design.system.load, 'W')} is taken as one generic {voltage:g} V buck rail.")
    return (RailSpec(name="load", voltage=voltage, power=design.system.load),)


def _modes(design: Design, rails: Sequence[RailSpec], said: list[str]) -> dict[str, float]:
    if design.system.modes:
        return {m.name: m.power for m in design.system.modes}
    full = sum(r.power for r in rails)
    said.append(f"One mode, 'work', at the full load of {show(full, 'W')} is assumed.")
    return {"work": full}


def _generic_day(design: Design, modes: dict[str, float], said: list[str]) -> tuple[UsageSpec, ...]:
    busiest = max(modes, key=lambda m: modes[m])
    source = design.sources[0].name
    said.append(f"A generic day is assumed: 6 h of '{busiest}' on '{source}', 4 h on the pack, then off and charging.")
    return (
        UsageSpec(mode=busiest, source=source, duration=6 * HOUR),
        UsageSpec(mode=busiest, source="none", duration=4 * HOUR),
        UsageSpec(mode="off", source=source, duration=14 * HOUR),
    )


def _bus_limits(design: Design, rails: Sequence[RailSpec]) -> tuple[float, float]:
    headroom = design.rules.headroom
    floors = [design.rules.bus_min or 0.0]
    ceilings = [design.rules.bus_max or float("inf")]
    for rail in rails:
        if rail.bus_min is not None:
            floors.append(rail.bus_min)
        elif rail.regulator in ("buck", "linear"):
            floors.append(rail.voltage + headroom)
        if rail.bus_max is not None:
            ceilings.append(rail.bus_max)
    return max(floors), min(ceilings)


def mode_power(case: Situation, mode: str) -> float:
    """Return what the rails deliver in a mode [W]; 'off' is the standby draw."""
    return case.design.system.standby if mode == "off" else case.modes[mode]
