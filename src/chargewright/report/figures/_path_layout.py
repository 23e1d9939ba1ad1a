"""A power path laid out from the source at the top to the cells at the bottom, with what flows in one solved point."""

from dataclasses import dataclass
from math import isfinite
from typing import Literal

import numpy as np

from chargewright.network.graph import PowerPath
from chargewright.network.solve import Solution

STAGE = "stage"
_Raw = tuple[str, str, str, str]
"""Key, name and both ends of an element."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """An element between two nodes; `upper` is nearer to the source."""

    key: str
    name: str
    upper: str
    lower: str
    turned: bool
    """Whether its own direction runs from `lower` to `upper`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A path as a trunk of links from source to cells, and the links beside it."""

    nodes: tuple[str, ...]
    trunk: tuple[Link, ...]
    beside: tuple[Link, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """What one link carries, in W and A; power is positive downwards, from the source towards the cells."""

    link: Link
    status: Literal["flows", "rests", "open", "dead"]
    p_upper: float
    p_lower: float
    i: float
    """Downwards."""
    loss: float
    temp: float
    """Hottest body [K]; nan where the solver has none."""


def layout_of(path: PowerPath) -> Layout:
    """Return the longest chain of elements from source to cells as the trunk, everything else beside it."""
    links: list[_Raw] = [(w.key, w.name, w.a, w.b) for w in path.wires]
    links.append((STAGE, "converter stage", path.stage.a, path.stage.b))
    order = list(path.nodes)
    best: list[_Raw] = []
    chain: list[_Raw] = []

    def extend(node: str, seen: frozenset[str]) -> None:
        nonlocal best
        if node == "cells" and len(chain) > len(best):
            best = list(chain)
        for link in links:
            here, there = (link[2], link[3]) if link[2] == node else (link[3], link[2])
            if here == node and there not in seen:
                chain.append(link)
                extend(there, seen | {there})
                chain.pop()

    extend("source", frozenset(("source",)))
    nodes = ["source"]
    for link in best:
        nodes.append(link[3] if link[2] == nodes[-1] else link[2])
    trunk = tuple(_link(link, nodes[k]) for k, link in enumerate(best))
    rest = [link for link in links if link not in best]
    beside = tuple(_link(link, min(link[2], link[3], key=order.index)) for link in rest)
    return Layout(nodes=tuple(nodes), trunk=trunk, beside=beside)


def flow_of(link: Link, s: Solution, k: int) -> Flow:
    """Return what a link carries at point `k` of a solved state."""
    sign = -1.0 if link.turned else 1.0
    v_upper, v_lower = (_number(s.v.get(n), k) for n in (link.upper, link.lower))
    temp = float("nan")
    if link.key == STAGE:
        i_in, i_out = _number(s.i_a, k), _number(s.i_b, k)
        i_upper, i_lower = (-i_out, -i_in) if link.turned else (i_in, i_out)
        loss = _number(s.p_stage, k)
        at = [float(s.temp[p][k]) for p in ("a_high", "a_low", "b_low", "b_high", "coil") if p in s.temp]
        temp = float(np.max(at))
        status: Literal["flows", "rests", "open", "dead"] = "rests" if s.state.stage == "off" else "flows"
        i = i_lower
    else:
        i_upper = i_lower = i = sign * _number(s.i.get(link.key), k)  # type: ignore[call-overload]
        loss = _number(s.wire_loss.get(link.key), k)  # type: ignore[call-overload]
        if link.key not in ("source", "cable", "pack"):
            temp = _number(s.temp.get(link.key), k)
        status = "open" if link.key in s.state.open else "flows" if link.key in s.i else "dead"
    p_upper, p_lower = (_zero(v * a) for v, a in ((v_upper, i_upper), (v_lower, i_lower)))
    if status == "flows" and max(abs(p_upper), abs(p_lower)) < 1e-6:
        status = "rests"
    return Flow(link=link, status=status, p_upper=p_upper, p_lower=p_lower, i=_zero(i), loss=_zero(loss), temp=temp)


def _link(raw: _Raw, upper: str) -> Link:
    key, name, a, b = raw
    turned = a != upper
    return Link(key=key, name=name, upper=upper, lower=a if turned else b, turned=turned)


def _number(values: object, k: int) -> float:
    return float("nan") if values is None else float(np.ravel(np.asarray(values, dtype=float))[k])


def _zero(value: float) -> float:
    return value if isfinite(value) else 0.0
