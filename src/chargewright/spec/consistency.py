"""Contradictions across fields: each value makes sense, but together they cannot be meant.

Every rule is a function named after what it finds; its parameters are the groups of the design file that it looks
at, so it runs as soon as those could be read. Whether a design is good is the work of the checks, not of these.
"""

import inspect
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from chargewright.base.errors import QuantityError
from chargewright.base.near import nearest
from chargewright.base.units import parse, show
from chargewright.spec.design import Design
from chargewright.spec.fields import Rated
from chargewright.spec.pack import ChargeSpec, PackSpec
from chargewright.spec.rules import PartsSpec, RulesSpec, WeightsSpec
from chargewright.spec.source import FixedSourceSpec, SourceSpec
from chargewright.spec.system import AmbientSpec, SystemSpec, UsageSpec

OFF, NO_SOURCE, ONLY_MODE = "off", "none", "work"
"""Words with a meaning of their own in `usage`; the last is the mode that is assumed where none is listed."""
LONGEST_USAGE = 31 * 86400.0
F_SW_RANGE = (1e4, 5e6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """Keys that contradict each other: the one to look at first, and what to do."""

    key: str
    message: str
    cure: str


def contradictions(groups: Mapping[str, Any]) -> list[Contradiction]:
    """Return every contradiction among the groups that are there; a rule that lacks one of its groups is left out."""
    rules = [rule for rule in _RULES if all(name in groups for name in inspect.signature(rule).parameters)]
    return [c for rule in rules for c in rule(**{name: groups[name] for name in inspect.signature(rule).parameters})]


def contradictions_of(design: Design) -> list[Contradiction]:
    """Return every contradiction in a design that was made or changed in code."""
    return contradictions({f.name: getattr(design, f.name) for f in fields(Design)})


def _volts(value: float) -> str:
    return show(value, "V")


def _watts(value: float) -> str:
    return show(value, "W")


def _two(key: str, other: str, message: str) -> Contradiction:
    return Contradiction(key=key, message=message, cure=f"Change {key} or {other}.")


def _source_names(sources: tuple[SourceSpec, ...]) -> Iterator[Contradiction]:
    yield from _names("sources", [s.name for s in sources], reserved=NO_SOURCE)


def _names(group: str, names: Sequence[str], reserved: str = "") -> Iterator[Contradiction]:
    for i, name in enumerate(names):
        if name in names[:i]:
            first = f"{group}[{names.index(name)}]"
            message = f'"{name}" is the name of {first} already; names tell the items of {group} apart.'
            yield Contradiction(key=f"{group}[{i}].name", message=message, cure="Give each its own name.")
        if reserved and name == reserved:
            message = f'"{name}" has a meaning of its own in usage and cannot be a name.'
            yield Contradiction(key=f"{group}[{i}].name", message=message, cure="Choose another name.")


def _fault_voltage_below_normal(sources: tuple[SourceSpec, ...]) -> Iterator[Contradiction]:
    for i, source in enumerate(sources):
        if isinstance(source, FixedSourceSpec) and source.over_voltage * source.voltage.typ < source.voltage.high:
            fault = _volts(source.over_voltage * source.voltage.typ)
            message = (
                f"The highest fault voltage, {fault}, is below the highest normal one, {_volts(source.voltage.high)}."
            )
            yield _two(f"sources[{i}].over_voltage", f"sources[{i}].voltage", message)


def _cell_window(pack: PackSpec) -> Iterator[Contradiction]:
    low, high = pack.v_cell_min, pack.v_cell_max
    if low is not None and high is not None and low >= high:
        message = f"The lowest cell voltage, {_volts(low)}, is not below the highest, {_volts(high)}."
        yield _two("pack.v_cell_min", "pack.v_cell_max", message)


def _recharge_below_empty(charge: ChargeSpec, pack: PackSpec) -> Iterator[Contradiction]:
    low, high = pack.v_cell_min, pack.v_cell_max
    if low is not None and high is not None and low < high <= low + charge.recharge_drop:
        message = f"A fall of {_volts(charge.recharge_drop)} from {_volts(high)} is the whole window of the cell."
        yield _two("charge.recharge_drop", "pack.v_cell_min", message)


def _charge_currents(charge: ChargeSpec, pack: PackSpec) -> Iterator[Contradiction]:
    capacity = pack.capacity * pack.parallel if pack.capacity is not None else None
    full = _comparable(charge.current, capacity)
    termination, precharge = _comparable(charge.termination, capacity), _comparable(charge.precharge, capacity)
    if _same_kind(termination, full) and termination[0] >= full[0]:
        message = (
            f"The charge ends at {_shown(charge.termination)}, but never carries more than {_shown(charge.current)}."
        )
        yield _two("charge.termination", "charge.current", message)
    if _same_kind(precharge, full) and precharge[0] > full[0]:
        message = f"The precharge, {_shown(charge.precharge)}, is above the charge current, {_shown(charge.current)}."
        yield _two("charge.precharge", "charge.current", message)


def _comparable(current: Rated, capacity: float | None) -> tuple[float, bool]:
    """Return a current in A, or still per capacity (True) where no capacity is known yet."""
    return (current.value, current.per_capacity) if capacity is None else (current.amps(capacity), False)


def _same_kind(a: tuple[float, bool], b: tuple[float, bool]) -> bool:
    return a[1] == b[1]


def _shown(current: Rated) -> str:
    return show(current.value, "rate" if current.per_capacity else "A")


def _precharge_timer(charge: ChargeSpec) -> Iterator[Contradiction]:
    if charge.precharge_timer > charge.timer:
        message = f"The timer of the precharge, {show(charge.precharge_timer, 's')}, outlasts that of the whole charge."
        yield _two("charge.precharge_timer", "charge.timer", message)


def _load_or_rails(system: SystemSpec) -> Iterator[Contradiction]:
    if system.load is None and not system.rails:
        message = "Neither load nor rails says what the product draws."
        yield Contradiction(key="system", message=message, cure="Add 'load: 12 W', or list the rails.")
    if system.load is not None and system.rails:
        message = "Both load and rails say what the product draws."
        yield Contradiction(
            key="system.load", message=message, cure="Delete load if the rails are meant, or the rails."
        )


def _rail_names(system: SystemSpec) -> Iterator[Contradiction]:
    yield from _names("system.rails", [r.name for r in system.rails])
    yield from _names("system.modes", [m.name for m in system.modes], reserved=OFF)


def _rail_windows(system: SystemSpec) -> Iterator[Contradiction]:
    for i, rail in enumerate(system.rails):
        key = f"system.rails[{i}]"
        if rail.bus_min is not None and rail.bus_max is not None and rail.bus_min > rail.bus_max:
            message = f"The lowest bus, {_volts(rail.bus_min)}, is above the highest, {_volts(rail.bus_max)}."
            yield _two(f"{key}.bus_min", f"{key}.bus_max", message)
        if rail.regulator in ("buck", "linear") and rail.bus_max is not None and rail.bus_max <= rail.voltage:
            message = f"A {rail.regulator} rail of {_volts(rail.voltage)} needs a bus above {_volts(rail.bus_max)}."
            yield _two(f"{key}.bus_max", f"{key}.voltage", message)


def _rails_apart(system: SystemSpec) -> Iterator[Contradiction]:
    lows = [(r.bus_min, i) for i, r in enumerate(system.rails) if r.bus_min is not None]
    highs = [(r.bus_max, i) for i, r in enumerate(system.rails) if r.bus_max is not None]
    if not lows or not highs:
        return
    (low, needy), (high, weak) = max(lows), min(highs)
    if low > high and needy != weak:
        message = (
            f'No bus suits all rails: "{system.rails[needy].name}" needs {_volts(low)}, '
            f'"{system.rails[weak].name}" stands {_volts(high)}.'
        )
        yield _two(f"system.rails[{needy}].bus_min", f"system.rails[{weak}].bus_max", message)


def _full_load(system: SystemSpec) -> tuple[float, str]:
    """Return the greatest lasting load in W and the key that states it."""
    return (
        (system.load, "system.load")
        if system.load is not None
        else (sum(r.power for r in system.rails), "system.rails")
    )


def _modes_within_full_load(system: SystemSpec) -> Iterator[Contradiction]:
    full, stated = _full_load(system)
    for i, mode in enumerate(system.modes):
        if full > 0.0 and mode.power > full * (1.0 + 1e-9):
            message = f'Mode "{mode.name}" takes {_watts(mode.power)}, but {stated} gives {_watts(full)} at most.'
            yield _two(f"system.modes[{i}].power", stated, message)


def _peak_below_mode(system: SystemSpec) -> Iterator[Contradiction]:
    if system.peak is None:
        return
    powers = [(m.power, f"system.modes[{i}].power") for i, m in enumerate(system.modes)] or [_full_load(system)]
    most, stated = max(powers)
    if system.peak.power < most:
        message = f"The peak, {_watts(system.peak.power)}, is below the lasting load of {_watts(most)} ({stated})."
        yield _two("system.peak.power", stated, message)


def _boot_above_all(system: SystemSpec) -> Iterator[Contradiction]:
    if system.boot is None:
        return
    peak = system.peak.power if system.peak else 0.0
    most = max(_full_load(system)[0], peak, *(m.power for m in system.modes), 0.0)
    if most > 0.0 and system.boot > most:
        message = f"Starting takes {_watts(system.boot)}, more than any mode or peak, {_watts(most)} at most."
        cure = "Change system.boot, or list the start as a mode or peak."
        yield Contradiction(key="system.boot", message=message, cure=cure)


def _usage_names(
    usage: tuple[UsageSpec, ...], sources: tuple[SourceSpec, ...], system: SystemSpec
) -> Iterator[Contradiction]:
    modes = [*(m.name for m in system.modes), OFF] if system.modes else [ONLY_MODE, OFF]
    feeds = [*(s.name for s in sources), NO_SOURCE]
    for i, stretch in enumerate(usage):
        for key, name, known, group in (
            ("mode", stretch.mode, modes, "system.modes"),
            ("source", stretch.source, feeds, "sources"),
        ):
            if name not in known:
                close = nearest(name, known)
                hint = f'Did you mean "{close}"?' if close else f"Known: {', '.join(known[:8])}."
                message = f'"{name}" is no {key} of this file; it has to be a name from {group}.'
                yield Contradiction(key=f"usage[{i}].{key}", message=message, cure=hint)


def _contract_of_no_source(usage: tuple[UsageSpec, ...]) -> Iterator[Contradiction]:
    for i, stretch in enumerate(usage):
        if stretch.contract is not None and stretch.source == NO_SOURCE:
            message = f'A contract is named, but the source of this stretch is "{NO_SOURCE}".'
            yield _two(f"usage[{i}].contract", f"usage[{i}].source", message)


def _usage_too_long(usage: tuple[UsageSpec, ...]) -> Iterator[Contradiction]:
    total = sum(stretch.duration for stretch in usage)
    if total > LONGEST_USAGE:
        message = f"The stretches together last {total / 86400.0:.1f} days; at most 31 days are accepted."
        yield Contradiction(key="usage", message=message, cure="Describe a typical day or week.")


def _ambient_order(ambient: AmbientSpec) -> Iterator[Contradiction]:
    for low, high in (("cold", "typical"), ("typical", "hot")):
        a, b = getattr(ambient, low), getattr(ambient, high)
        if a > b:
            message = f"The {low} ambient, {show(a, 'K')}, is above the {high} one, {show(b, 'K')}."
            yield _two(f"ambient.{low}", f"ambient.{high}", message)


def _bus_limits(rules: RulesSpec) -> Iterator[Contradiction]:
    if rules.bus_min is not None and rules.bus_max is not None and rules.bus_min >= rules.bus_max:
        message = f"The lowest bus, {_volts(rules.bus_min)}, is not below the highest, {_volts(rules.bus_max)}."
        yield _two("rules.bus_min", "rules.bus_max", message)


def _bus_outside_rails(rules: RulesSpec, system: SystemSpec) -> Iterator[Contradiction]:
    for i, rail in enumerate(system.rails):
        if rules.bus_max is not None and rail.bus_min is not None and rail.bus_min > rules.bus_max:
            message = f'Rail "{rail.name}" needs {_volts(rail.bus_min)}; the highest bus is {_volts(rules.bus_max)}.'
            yield _two(f"system.rails[{i}].bus_min", "rules.bus_max", message)
        if rules.bus_min is not None and rail.bus_max is not None and rail.bus_max < rules.bus_min:
            message = f'Rail "{rail.name}" stands {_volts(rail.bus_max)}; the lowest bus is {_volts(rules.bus_min)}.'
            yield _two(f"system.rails[{i}].bus_max", "rules.bus_min", message)


def _duty_limits(rules: RulesSpec) -> Iterator[Contradiction]:
    if rules.duty_min >= rules.duty_max:
        message = (
            f"The least duty, {show(rules.duty_min, '1')}, is not below the greatest, {show(rules.duty_max, '1')}."
        )
        yield _two("rules.duty_min", "rules.duty_max", message)


def _repeated_candidates(candidates: tuple[str, ...]) -> Iterator[Contradiction]:
    for i, key in enumerate(candidates):
        if key in candidates[:i]:
            message = f'"{key}" stands in the list twice.'
            yield Contradiction(key=f"candidates[{i}]", message=message, cure="Delete one of the two.")


def _no_weight(weights: WeightsSpec) -> Iterator[Contradiction]:
    if all(getattr(weights, f.name) == 0.0 for f in fields(WeightsSpec)):
        message = "All weights are zero, so that no path can be better than another."
        yield Contradiction(key="weights", message=message, cure="Give at least one a number above zero.")


def _frequencies(parts: PartsSpec) -> Iterator[Contradiction]:
    low, high = F_SW_RANGE
    for i, text in enumerate(parts.f_sw):
        try:
            message = (
                "" if low <= parse(text, "Hz") <= high else f"{text} is outside {show(low, 'Hz')} … {show(high, 'Hz')}."
            )
        except QuantityError as error:
            message = f"{error}."
        if message:
            yield Contradiction(key=f"parts.f_sw[{i}]", message=message, cure='For example "600 kHz".')
    if not parts.f_sw:
        message = "No switching frequency is left to try."
        yield Contradiction(key="parts.f_sw", message=message, cure="Delete the line, or list at least one.")


def _nothing_to_choose_from(parts: PartsSpec) -> Iterator[Contradiction]:
    tables = [f.name for f in fields(PartsSpec) if f.name not in ("only_mine", "f_sw")]
    if parts.only_mine and not any(getattr(parts, name) for name in tables):
        message = "The built-in parts are left out, but no table of your own is named."
        yield Contradiction(key="parts.only_mine", message=message, cure=f"Name a table: {', '.join(tables)}.")


_RULES: tuple[Callable[..., Iterator[Contradiction]], ...] = (
    _source_names,
    _fault_voltage_below_normal,
    _cell_window,
    _recharge_below_empty,
    _charge_currents,
    _precharge_timer,
    _load_or_rails,
    _rail_names,
    _rail_windows,
    _rails_apart,
    _modes_within_full_load,
    _peak_below_mode,
    _boot_above_all,
    _usage_names,
    _contract_of_no_source,
    _usage_too_long,
    _ambient_order,
    _bus_limits,
    _bus_outside_rails,
    _duty_limits,
    _repeated_candidates,
    _no_weight,
    _frequencies,
    _nothing_to_choose_from,
)
