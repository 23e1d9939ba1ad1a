"""The equations of one state: which unknowns there are, and one Newton step for all conditions at once."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import ChargewrightError
from chargewright.network.graph import PowerPath, State, Wire, WireKind

Floats = npt.NDArray[np.float64]
_EMF = {"source": "e_source", "cells": "e_cells"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where each unknown stands in the vector x of shape (n, size)."""

    path: PowerPath
    state: State
    nodes: tuple[str, ...]
    """Powered nodes, sources of voltage included."""
    wires: dict[WireKind, Wire]
    """Closed wires between powered nodes."""
    column: dict[str, int]
    """Free node to column of its voltage."""
    branch: dict[str, int]
    """Wire, or port of the stage ("i_a", "i_b"), to column of its current."""

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return len(self.column) + len(self.branch)

    @classmethod
    def of(cls, path: PowerPath, state: State) -> "Layout":
        """Return the layout: everything that a voltage source reaches through closed wires and a stage at work."""
        reached = {node for node, on in (("source", state.source), ("cells", state.pack)) if on}
        closed = [w for w in path.wires if w.key not in state.open]
        links = [(w.a, w.b) for w in closed]
        if state.stage != "off":
            links.append((path.stage.a, path.stage.b))
        grown = True
        while grown:
            more = {n for pair in links if reached & set(pair) for n in pair} - reached
            reached |= more
            grown = bool(more)
        if path.load_at not in reached:
            raise ChargewrightError(
                f"path {path.key!r}, state {state.key!r}: nothing feeds the load at {path.load_at!r}"
            )
        wires = {w.key: w for w in closed if w.a in reached and w.b in reached}
        fixed = {node for node, on in (("source", state.source), ("cells", state.pack)) if on}
        free = [n for n in path.nodes if n in reached and n not in fixed]
        branches = [*wires, *(("i_a", "i_b") if state.stage != "off" else ())]
        return cls(
            path=path,
            state=state,
            nodes=tuple(n for n in path.nodes if n in reached),
            wires=wires,
            column={k: j for j, k in enumerate(free)},
            branch={k: j for j, k in enumerate(branches, start=len(free))},
        )

    def voltage(self, x: Floats, node: str, c: Any) -> Floats:
        """Return a node's voltage [V]; nan for a node that nothing powers."""
        if node in self.column:
            return x[:, self.column[node]]
        if node in self.nodes:
            return np.asarray(getattr(c, _EMF[node]), dtype=float)
        return np.full(len(x), np.nan)

    def current(self, x: Floats, wire: WireKind) -> Floats:
        """Return a wire's current [A], positive from a to b."""
        return x[:, self.branch[wire]]

    def port(self, x: Floats, name: str) -> Floats:
        """Return a port current of the stage [A]; zero where the stage is off."""
        return x[:, self.branch[name]] if name in self.branch else np.zeros(len(x))

    def joined(self, start: str) -> set[str]:
        """Return the nodes that closed wires join to `start`, the stage left out."""
        found = {start}
        grown = True
        while grown:
            more = {n for w in self.wires.values() if found & {w.a, w.b} for n in (w.a, w.b)} - found
            found |= more
            grown = bool(more)
        return found

    def first_guess(self, c: Any) -> Floats:
        """Return a start for Newton's method: nodes at the voltage that feeds them, currents from the power."""
        n = len(c.e_source)
        x = np.zeros((n, self.size))
        source_side = self.joined("source")
        for node in self.nodes:
            if node in self.column:
                near_source = self.state.source and node in source_side
                x[:, self.column[node]] = c.e_source if near_source else c.e_cells if self.state.pack else c.v_bus
        if self.state.held == "bus-voltage":
            for node in (self.path.load_at, self.path.stage.b if self.state.stage == "forward" else self.path.stage.a):
                if node in self.column:
                    x[:, self.column[node]] = c.v_bus
        bus = np.maximum(self.voltage(x, self.path.load_at, c), 1.0)
        if "i_a" in self.branch:
            feeds_load = self.path.narrow and self.state.source
            i_b = c.i_pack + np.where(feeds_load, c.p_load / bus, 0.0)
            if self.state.stage == "reverse":
                i_b = -c.p_load / np.maximum(c.e_cells, 1.0)
            v_a, v_b = self.voltage(x, self.path.stage.a, c), self.voltage(x, self.path.stage.b, c)
            x[:, self.branch["i_b"]] = i_b
            x[:, self.branch["i_a"]] = i_b * v_b / np.maximum(v_a, 1.0)
        return x


def newton_step(
    layout: Layout,
    c: Any,
    x: Floats,
    r: dict[WireKind, Floats],
    p_stage: Floats,
    p_bus: Floats,
    slope: Floats,
    r_through: Any,
) -> Floats:
    """Return the next x of shape (n, size): one full Newton step on all conditions.

    r : wire resistances [Ω]; p_stage : loss of the stage [W]; p_bus : power that the rails take from the bus [W];
    slope : of p_bus over the bus voltage [W/V].
    Rows: current law at each free node, Ohm's law (or the held current) of each wire, power balance of the stage and
    the equation of what the state holds. A condition whose matrix is singular gives nan.
    """
    n, size = x.shape
    jacobian = np.zeros((n, size, size))
    residual = np.zeros((n, size))
    column, path, state = layout.column, layout.path, layout.state
    for key, wire in layout.wires.items():
        j = layout.branch[key]
        i = x[:, j]
        for node, sign in ((wire.a, -1.0), (wire.b, 1.0)):
            if node in column:
                residual[:, column[node]] += sign * i
                jacobian[:, column[node], j] += sign
        if key == state.linear:
            residual[:, j] = i - c.i_pack
            jacobian[:, j, j] = 1.0
            continue
        residual[:, j] = layout.voltage(x, wire.a, c) - layout.voltage(x, wire.b, c) - r[key] * i
        jacobian[:, j, j] = -r[key]
        for node, sign in ((wire.a, 1.0), (wire.b, -1.0)):
            if node in column:
                jacobian[:, j, column[node]] = sign
    _draw(layout, x, residual, jacobian, path.load_at, p_bus, slope)
    if state.stage == "off":
        _draw(layout, x, residual, jacobian, path.stage.a if state.fed_from == "a" else path.stage.b, p_stage, 0.0)
    else:
        _stage_rows(layout, c, x, residual, jacobian, p_stage, r_through)
    return x - _solve_each(jacobian, residual)


def _draw(
    layout: Layout, x: Floats, residual: Floats, jacobian: Floats, node: str, power: Floats, slope: Floats | float
) -> None:
    """Let a power leave a free node; a fixed node needs no row."""
    if node in layout.column:
        j = layout.column[node]
        v = x[:, j]
        residual[:, j] -= power / v
        jacobian[:, j, j] += power / (v * v) - slope / v


def _stage_rows(
    layout: Layout, c: Any, x: Floats, residual: Floats, jacobian: Floats, p_stage: Floats, r_through: Any
) -> None:
    column, path, state = layout.column, layout.path, layout.state
    a, b, ja, jb = path.stage.a, path.stage.b, layout.branch["i_a"], layout.branch["i_b"]
    i_a, i_b = x[:, ja], x[:, jb]
    v_a, v_b = layout.voltage(x, a, c), layout.voltage(x, b, c)
    for node, j, sign in ((a, ja, -1.0), (b, jb, 1.0)):
        if node in column:
            residual[:, column[node]] += sign * x[:, j]
            jacobian[:, column[node], j] += sign
    residual[:, ja] = v_a * i_a - v_b * i_b - p_stage
    jacobian[:, ja, ja] = v_a
    jacobian[:, ja, jb] = -v_b
    if a in column:
        jacobian[:, ja, column[a]] = i_a
    if b in column:
        jacobian[:, ja, column[b]] = -i_b
    if state.stage == "through":
        residual[:, jb] = v_a - v_b - r_through * i_b
        jacobian[:, jb, jb] = -r_through
        if a in column:
            jacobian[:, jb, column[a]] += 1.0
        if b in column:
            jacobian[:, jb, column[b]] += -1.0
        return
    held, target = _held(layout), _target(state, c)
    residual[:, jb] = x[:, held] - target
    jacobian[:, jb, held] = 1.0


def _held(layout: Layout) -> int:
    if layout.state.held == "bus-voltage":
        return layout.column[layout.path.load_at]
    return layout.branch[
        {"pack-current": "pack", "source-current": "source", "stage-current": "i_b"}[layout.state.held]
    ]


def _target(state: State, c: Any) -> Any:
    return {"pack-current": c.i_pack, "source-current": c.i_source, "bus-voltage": c.v_bus, "stage-current": c.i_pack}[
        state.held
    ]


def _solve_each(jacobian: Floats, residual: Floats) -> Floats:
    """Solve every condition's linear system; a singular one gives nan instead of stopping all the others."""
    broken = ~(np.isfinite(jacobian).all(axis=(1, 2)) & np.isfinite(residual).all(axis=1))
    if broken.any():
        jacobian[broken] = np.eye(jacobian.shape[1])
        residual[broken] = np.nan
    try:
        return np.asarray(np.linalg.solve(jacobian, residual[..., None])[..., 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        found = np.full_like(residual, np.nan)
        for k in range(len(residual)):
            if np.linalg.matrix_rank(jacobian[k]) == jacobian.shape[1]:
                found[k] = np.linalg.solve(jacobian[k], residual[k])
        return found
