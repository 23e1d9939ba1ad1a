"""A BPX file as groups of numbers and curves, each of which knows where it stands."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from chargewright.base.errors import PartsError
from chargewright.parts._columns import text_of
from chargewright.parts._expression import evaluate
from chargewright.parts.cell import Array, frozen
from chargewright.physics.electrode import FARADAY

MODELS = ("SPM", "SPMe", "DFN", "Partial")
MAX_POINTS = 10_000
Curve = Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class Group:
    """One group of the file."""

    shown: str
    """What messages call the place."""
    keys: dict[str, Any]

    def group(self, name: str) -> "Group":
        """Return a group inside this one."""
        inner = self.keys.get(name)
        where = f"{self.shown}  {name}"
        if not isinstance(inner, dict):
            raise PartsError(f"{where}\n    is missing or no group; a BPX file of a whole cell has it")
        return Group(where, inner)

    def has(self, *names: str) -> bool:
        """Return whether all of these keys are given."""
        return all(name in self.keys for name in names)

    def number(self, name: str, low: float, high: float, default: float | None = None) -> float:
        """Return a number inside a range."""
        found = self.keys.get(name, default)
        if isinstance(found, bool) or not isinstance(found, int | float) or not low <= found <= high:
            said = "is missing" if found is None else f"is {str(found)[:40]!r}"
            raise PartsError(f"{self.shown}  {name}\n    {said}; accepted: a number from {low:g} to {high:g}")
        return float(found)

    def curve(self, name: str) -> Curve:
        """Return a number, formula or table of the file as a function of x."""
        found, where = self.keys.get(name), f"{self.shown}  {name}"
        match found:
            case bool():
                pass
            case int() | float():
                constant = self.number(name, -1e12, 1e12)
                return lambda x: np.full(np.shape(x), constant)
            case str():
                return lambda x: evaluate(found, x, where)
            case {"x": list() as x_points, "y": list() as y_points}:
                return _table(x_points, y_points, where)
        said = "is missing" if found is None else "is not read"
        raise PartsError(f"{where}\n    {said}; accepted: a number, a formula in x, or a table of x and y (one branch)")


@dataclass(frozen=True, slots=True)
class Electrode:
    """One electrode of one active material, and its stoichiometry at 0 and 100 % of the cell."""

    keys: Group
    at_empty: float
    at_full: float

    def stoichiometry(self, soc: Array) -> Array:
        """Return how full of lithium the particles are [1]."""
        return self.at_empty + soc * (self.at_full - self.at_empty)

    def curve(self, name: str, soc: Array) -> Array:
        """Return one of the file's functions of stoichiometry, over state of charge."""
        return self.keys.curve(name)(self.stoichiometry(soc))

    def particle_surface(self, area: float) -> float:
        """Return the surface of all particles [m²]; `area` is that of all electrode pairs."""
        thickness = self.keys.number("Thickness [m]", 1e-7, 1e-2)
        return self.keys.number("Surface area per unit volume [m-1]", 1.0, 1e10) * area * thickness

    def charge(self, area: float) -> float:
        """Return the charge between the stoichiometries at 0 and 100 % [C]; particles are round."""
        radius = self.keys.number("Particle radius [m]", 1e-9, 1e-3)
        c_max = self.keys.number("Maximum concentration [mol.m-3]", 1.0, 1e6)
        volume = self.particle_surface(area) * radius / 3.0
        return abs(self.at_full - self.at_empty) * FARADAY * c_max * volume


@dataclass(frozen=True, slots=True)
class Document:
    """The parts of a BPX file that are read here."""

    title: str
    parameters: Group


def read_document(path: Path) -> Document:
    """Return a BPX file. Raises PartsError if it is none."""
    text = text_of(path, "BPX file")
    try:
        document = json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise PartsError(f"{path}\n    is not JSON ({error}); a cell given as .json has to be a BPX file") from error
    header = document.get("Header") if isinstance(document, dict) else None
    if not isinstance(header, dict):
        raise PartsError(f"{path}\n    has no group 'Header'; a cell given as .json has to be a BPX file")
    if "BPX" not in header or header.get("Model") not in MODELS:
        raise PartsError(f"{path}  Header\n    must give 'BPX' (a version) and 'Model' (one of {', '.join(MODELS)})")
    title = header.get("Title")
    return Document(
        title=title[:200] if isinstance(title, str) and title else f"cell of {path.name}",
        parameters=Group(str(path), document).group("Parameterisation"),
    )


def _refuse_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a number")


def _table(x_points: list[Any], y_points: list[Any], where: str) -> Curve:
    numbers = [*x_points, *y_points]
    if len(numbers) > 2 * MAX_POINTS or not all(isinstance(v, int | float) and abs(v) < 1e12 for v in numbers):
        raise PartsError(f"{where}\n    the table holds something that is no number, or more than {MAX_POINTS} points")
    x_table, y_table = frozen(x_points), frozen(y_points)
    if len(x_table) != len(y_table) or len(x_table) < 2 or np.any(np.diff(x_table) <= 0.0):
        raise PartsError(f"{where}\n    the table needs as many x as y, at least two, and x must rise")

    def curve(x: Array) -> Array:
        if np.min(x) < x_table[0] - 1e-6 or np.max(x) > x_table[-1] + 1e-6:
            raise PartsError(
                f"{where}\n    the table holds x from {x_table[0]:g} to {x_table[-1]:g}; "
                f"{np.min(x):g} to {np.max(x):g} is needed"
            )
        return np.interp(x, x_table, y_table)

    return curve
