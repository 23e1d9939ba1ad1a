"""What trips a source and brings it back, and which temperatures the pack refuses: kernel code, plain or compiled."""

from typing import Any

from chargewright.sim import _usage_pack as s
from chargewright.sim import usage_rules as code
from chargewright.sim._usage_book import note_event
from chargewright.sim._usage_clock import Flow
from chargewright.sim._usage_pack import PackTables
from chargewright.sim._usage_path import PathTables
from chargewright.sim.usage_rules import Books, Rules

_DAY = 86400.0


def returned(path: PathTables, rules: Rules, now: Any, flag: Any, source: int) -> int:
    """Return the source that is there to be drawn from in a step; -1 for one that has tripped and is still off."""
    if source < 0 or flag[code.OUT] == 0:
        return source
    kind = path.store[path.trip_kind + source]
    if kind == code.RETURNS or (kind == code.RETRIES and now[s.T_TRIP] >= rules.retry - 1e-9):
        return source
    return -1


def comes_back(path: PathTables, rules: Rules, source: int, dt: float) -> bool:
    """Return whether a source that has tripped comes back within a step once its load has gone."""
    kind = path.store[path.trip_kind + source]
    return bool(kind == code.RETURNS or (kind == code.RETRIES and dt >= rules.retry))


def overloads(flow: Flow) -> bool:
    """Return whether what keeps a load from being served leaves it to the source, beyond what that may give."""
    return flow.why == code.OVERLOAD or (flow.helping == 1 and flow.why != code.BUS_LOW)


def trip(path: PathTables, books: Books, now: Any, flag: Any, pack: PackTables, source: int) -> None:
    """Let a source trip, and count it; one that folds back goes on doing so, which is no new trip."""
    if flag[code.OUT] == 0:
        note_event(books, now, flag, pack, code.TRIPPED)
    if flag[code.OUT] == 0 or path.store[path.trip_kind + source] == code.RETRIES:
        books.store[_today(books, now) + code.TRIPS] += 1.0
    flag[code.OUT] = 1
    now[s.T_TRIP] = 0.0


def note_retries(path: PathTables, rules: Rules, books: Books, now: Any, dt: float, source: int) -> None:
    """Count the retries that a longer step hides while the load stays on: each of them trips again."""
    cycle = rules.retry + path.store[path.trip_time + source]
    if path.store[path.trip_kind + source] == code.RETRIES and dt > cycle > 0.0:
        books.store[_today(books, now) + code.TRIPS] += dt / cycle - 1.0


def _today(books: Books, now: Any) -> int:
    """Return where the sums of this day begin."""
    return int(books.days + int(now[s.CLOCK] / _DAY + 1e-9) * code.DAY_COLUMNS)


def follow_temperature(rules: Rules, now: Any, flag: Any) -> None:
    """Follow the temperature of the cells through the charger's regions and past the ends of discharge."""
    temp = now[s.TEMP]
    if now[s.REFUSES] == 0.0:
        if temp < rules.temp_cold:
            now[s.REFUSES] = float(code.PACK_COLD)
        elif temp > rules.temp_hot:
            now[s.REFUSES] = float(code.PACK_HOT)
    elif rules.temp_cold + rules.temp_back <= temp <= rules.temp_hot - rules.temp_back:
        now[s.REFUSES] = 0.0
    region = flag[code.REGION]
    while region < rules.region_count - 1 and now[s.TEMP] >= rules.store[4 * region]:
        region += 1
    while region > 0 and now[s.TEMP] < rules.store[4 * region + 1]:
        region -= 1
    flag[code.REGION] = region
