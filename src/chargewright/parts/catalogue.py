"""The parts a design may choose from: built-in generic ones and the user's own tables."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from chargewright.base.errors import PartsError
from chargewright.parts import capacitor, clamp_diode, inductor, sense_resistor, switch
from chargewright.parts._table import built_in, read_table
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.clamp_diode import ClampDiode
from chargewright.parts.inductor import Inductor
from chargewright.parts.kind import Catalogue, PartKind
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.parts.switch import Switch
from chargewright.spec.rules import PartsSpec

R = TypeVar("R")

KINDS: tuple[PartKind[Any], ...] = (
    switch.PART,
    inductor.PART,
    capacitor.PART,
    sense_resistor.PART,
    clamp_diode.PART,
)
"""Every kind of part that has a table."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """One catalogue per kind."""

    switches: Catalogue[Switch]
    inductors: Catalogue[Inductor]
    capacitors: Catalogue[Capacitor]
    sense_resistors: Catalogue[SenseResistor]
    clamp_diodes: Catalogue[ClampDiode]


def load_parts(spec: PartsSpec | None = None, folder: Path | str = ".") -> Parts:
    """Return the parts that a design file allows.

    spec   : which tables to read and whether the built-in parts stay; None for the built-in parts alone
    folder : the design file's folder, from which the tables' paths count
    Raises PartsError.
    """
    spec = spec or PartsSpec()
    folder = Path(folder)
    return Parts(
        switches=_catalogue(switch.PART, "switches", spec.switches, spec.only_mine, folder),
        inductors=_catalogue(inductor.PART, "inductors", spec.inductors, spec.only_mine, folder),
        capacitors=_catalogue(capacitor.PART, "capacitors", spec.capacitors, spec.only_mine, folder),
        sense_resistors=_catalogue(
            sense_resistor.PART, "sense_resistors", spec.sense_resistors, spec.only_mine, folder
        ),
        clamp_diodes=_catalogue(clamp_diode.PART, "clamp_diodes", spec.clamp_diodes, spec.only_mine, folder),
    )


def _catalogue(part: PartKind[R], key: str, table: str | None, only_mine: bool, folder: Path) -> Catalogue[R]:
    if table is None:
        if only_mine:
            raise PartsError(
                f"parts.only_mine leaves out the built-in parts, but parts.{key} names no table, so there is no "
                f"{part.title} to choose from; name a table, or set parts.only_mine to false"
            )
        return built_in(part)
    mine = read_table(folder / table, part)
    if not len(mine):
        raise PartsError(f"{folder / table}\n    holds no parts; add a line for each {part.title}")
    return mine if only_mine else built_in(part).merged(mine)
