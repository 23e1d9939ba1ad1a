"""Reverse paths from the graph: known facts of switches, and a second road over every path and state."""

from itertools import product

import pytest

from chargewright.network.graph import PowerPath, State
from chargewright.network.reverse import Route, reverse_routes
from chargewright.paths import shelf


def routes(key: str, state: str, threat: str) -> list[Route]:
    path = shelf.get(key)
    found = next(s for s in path.states if s.key == state)
    return [r for r in reverse_routes(path, found) if r.threat == threat]


def stops(route: Route) -> list[str]:
    return [p.element for p in route.stopped_by]


def test_a_dead_buck_hands_the_pack_back_through_the_body_diode_of_its_high_switch():
    # Outside source: the body diode of a synchronous buck's high switch points from the switch node to the input, so
    # that an output above the input discharges into it (R. W. Erickson, D. Maksimovic, Fundamentals of Power
    # Electronics, 2nd ed., Kluwer 2001, ch. 4.2.2, body diode of the MOSFET; from memory). Only the pair is left.
    (route,) = routes("narrow-buck", "battery", "pack-to-inlet")
    assert [p.element for p in route.diodes] == ["a_high"]
    assert stops(route) == ["blocking-pair"]
    assert route.single_fault


def test_a_dead_four_switch_stage_is_a_second_barrier():
    # The body diode of the pack-side high switch points to the bus (same source), so it stops current from the bus.
    (route,) = routes("narrow-buck-boost", "battery", "pack-to-inlet")
    assert stops(route) == ["b_high", "blocking-pair"]
    assert not route.single_fault


def test_back_to_back_switches_stop_both_ways_and_a_lone_switch_one():
    # Common practice: two switches in series with opposed body diodes block either way, one blocks one way only.
    (there,) = routes("direct", "no-pack", "bus-to-inlet")
    assert stops(there) == []
    around = [r for r in routes("direct", "source-only", "source-to-pack") if "charge" not in r.nodes]
    assert [stops(r) for r in around] == [["battery-switch"]]
    back = [r for r in routes("direct", "source-only", "pack-to-inlet") if "charge" not in r.nodes]
    assert [[p.element for p in r.diodes] for r in back] == [["battery-switch"]]


def test_no_switch_parts_a_full_pack_from_a_parallel_charger():
    # Common practice: with charger, pack and load on one node the pack floats at the charge voltage, held by control.
    (route,) = routes("parallel", "source-only", "source-to-pack")
    assert [p.how for p in route.stopped_by] == ["held by control"]


def test_a_shorted_high_switch_puts_the_source_on_a_pack_that_is_charged():
    # Common practice, single-fault thinking: a buck whose high switch fails short no longer steps down.
    (route,) = routes("narrow-buck", "charging", "source-to-pack")
    assert stops(route) == ["a_high"]
    assert route.single_fault


def test_a_pack_that_rests_behind_its_switch_takes_two_faults():
    (route,) = routes("narrow-buck", "source-only", "source-to-pack")
    assert stops(route) == ["a_high", "battery-switch"]


CASES = [(path, state) for _, path in shelf.all() for state in path.states]
NAMES = [f"{path.key}-{state.key}" for path, state in CASES]


def reached(path: PowerPath, state: State, start: str, shorted: frozenset[str]) -> set[str]:
    """Second road, written apart from the module: spread along every element that conducts in the direction taken."""
    arrows: set[tuple[str, str]] = set()
    for wire in path.wires:
        both = {(wire.a, wire.b), (wire.b, wire.a)}
        is_open = wire.key in state.open
        if is_open and wire.key in ("source", "cable", "pack"):
            continue
        if wire.key in ("blocking-pair", "battery-switch") and is_open and wire.key not in shorted:
            arrows |= {"a-to-b": {(wire.a, wire.b)}, "b-to-a": {(wire.b, wire.a)}, "": set()}[wire.diode]
        elif wire.key == state.linear and wire.key not in shorted:
            arrows |= {(wire.b, wire.a)}
        else:
            arrows |= both
    a, b, legs = path.stage.a, path.stage.b, path.stage.legs
    if state.stage == "through":
        arrows |= {(a, b), (b, a)}
    if "a_high" in shorted:
        arrows.add((a, b))
    if state.stage == "reverse" or legs == "buck" or "b_high" in shorted:
        arrows.add((b, a))
    seen = {start}
    while more := {y for x, y in arrows if x in seen} - seen:
        seen |= more
    return seen


@pytest.mark.parametrize(("path", "state"), CASES, ids=NAMES)
def test_a_route_is_open_after_a_short_exactly_if_that_element_alone_stopped_it(path: PowerPath, state: State):
    ends = {
        "pack-to-inlet": ("cells", "inlet"),
        "bus-to-inlet": (path.load_at, "inlet"),
        "source-to-pack": ("source", "cells"),
    }
    elements = ("blocking-pair", "battery-switch", "a_high", "b_high")
    found = reverse_routes(path, state)
    for (threat, (start, end)), element in product(ends.items(), elements):
        mine = [r for r in found if r.threat == threat]
        if not mine:
            continue
        opens = any(set(stops(r)) <= {element} for r in mine)
        assert opens == (end in reached(path, state, start, frozenset((element,)))), (threat, element)
