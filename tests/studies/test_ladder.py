"""Protection ladders: what overlaps is told, what stands in order is not, and the overshoot is that of an LC step."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.studies.ladder import CUT_OFF_DELAY, Ladder, Rung, ladder_findings, ladders, overshoot
from chargewright.studies.settings import settings


def rung(kind: str, low: float, high: float, name: str = "") -> Rung:
    return Rung(
        kind=kind, name=name or kind, low=low, typ=(low + high) / 2.0, high=high, delay=float("nan"), origin="here"
    )


def ladder(*rungs: Rung, climbs: bool = True) -> Ladder:
    return Ladder(key="test", title="voltage of a test", unit="V", climbs=climbs, rungs=rungs)


IDEAL = (
    rung("normal", 19.0, 21.0),
    rung("threshold", 22.0, 23.0),
    rung("overshoot", 23.0, 24.0),
    rung("rating", 30, 30),
)


def test_an_ideal_ladder_has_no_finding():
    assert ladder_findings(ladder(*IDEAL)) == ()
    # Rungs that touch are in order: the one ends where the next begins.
    assert ladder_findings(ladder(rung("normal", 19.0, 21.0), rung("threshold", 21.0, 22.0))) == ()


def test_a_threshold_that_reaches_into_normal_use_is_a_caution():
    (found,) = ladder_findings(ladder(rung("normal", 19.0, 22.5), *IDEAL[1:]))
    assert (found.severity, found.value, found.limit, found.unit) == ("caution", 22.5, 22.0, "V")
    assert "normal" in found.what
    assert "threshold" in found.what
    assert found.where == "voltage of a test"


def test_a_rating_that_is_passed_before_anything_acts_is_serious():
    (found,) = ladder_findings(ladder(*IDEAL[:3], rung("rating", 23.5, 23.5)))
    assert (found.severity, found.value, found.limit) == ("serious", 24.0, 23.5)


def test_every_pair_of_neighbours_is_judged():
    found = ladder_findings(ladder(rung("normal", 19, 23), rung("threshold", 22, 26), rung("rating", 25, 25)))
    assert [f.severity for f in found] == ["caution", "serious"]


def test_a_descending_ladder_is_read_downwards():
    works, stops, cut = (
        rung("normal", 6.0, 8.4),
        rung("threshold", 5.9, 6.0, "stops"),
        rung("threshold", 5.0, 5.4, "cut"),
    )
    assert ladder_findings(ladder(works, stops, cut, climbs=False)) == ()
    (found,) = ladder_findings(ladder(works, stops, rung("threshold", 5.7, 5.95, "cut"), climbs=False))
    assert (found.value, found.limit) == (5.9, 5.95)


def test_a_full_ring_is_twice_the_step():
    # TR09 (derived, recomputed): 20 V onto an uncharged capacitor without loss peaks at 40 V. A cable and a capacitor
    # so small that half a period is over within the delay show the whole of it.
    assert overshoot(0.0, 5.0, 20.0, 1e-12, 1e-12) == pytest.approx(40.0, rel=1e-9)
    # From normal voltage the step is smaller: 2·25 − 20.
    assert overshoot(20.0, 22.0, 25.0, 1e-12, 1e-12) == pytest.approx(30.0, rel=1e-9)
    # A threshold at the normal voltage itself: the step begins with no current, so that it is that of an LC from rest.
    small = overshoot(20.0, 20.0, 25.0, 1e-6, 20e-6)
    w = CUT_OFF_DELAY / np.sqrt(20e-12)
    assert small == pytest.approx(25.0 - 5.0 * np.cos(w), rel=1e-12)


def test_overshoot_is_what_the_circuit_does():
    # Second road: march v' = i/C, i' = (v_fault − v)/L in steps of a nanosecond from the normal voltage; stop the delay
    # after the threshold is crossed. Symplectic steps of 1/4000 of a turn: rel 1e-3.
    for normal, threshold, fault, l, c in (  # noqa: E741 - the trade's letter
        (19.0, 23.2, 25.0, 1e-6, 20e-6),
        (19.0, 23.2, 25.0, 0.5e-6, 5e-6),
        (20.0, 24.0, 22.5, 1e-6, 10e-6),  # the fault voltage is below the threshold: only the ring crosses it
    ):
        v, i, dt, crossed, t = normal, 0.0, 1e-9, None, 0.0
        while crossed is None or t < crossed + CUT_OFF_DELAY:
            i += (fault - v) / l * dt
            v += i / c * dt
            t += dt
            if crossed is None and v >= threshold:
                crossed = t
            if i <= 0.0:
                break
        assert overshoot(normal, threshold, fault, l, c) == pytest.approx(v, rel=1e-3)


def test_overshoot_lies_between_threshold_and_peak():
    for c in np.geomspace(1e-9, 1e-3, 25):
        v = overshoot(19.0, 23.0, 25.0, 1e-6, float(c))
        assert 23.0 <= v <= 2 * 25.0 - 19.0
    # More capacitance gives the pair more time; a fault that cannot reach the threshold leaves it untouched.
    assert overshoot(19.0, 23.0, 25.0, 1e-6, 100e-6) < overshoot(19.0, 23.0, 25.0, 1e-6, 1e-6)
    assert overshoot(19.0, 23.0, 20.5, 1e-6, 1e-6) == 23.0


@pytest.fixture(scope="module")
def rungs(bench, twelve):
    """Return a function that makes the ladders of a path of the twelve-line design."""

    def make(key: str, text: str = twelve, **parts):
        b = bench(key, text)
        build = replace(b.build, **parts)
        return {found.key: found for found in ladders(b.case, b.plan, build, settings(b.case, b.plan, build))}

    return make


def test_the_ladders_of_a_product(rungs):
    direct, narrow = rungs("direct"), rungs("narrow-buck")
    assert set(direct) == {"inlet-voltage", "cell-voltage", "pack-floor", "source-current", "charge-current"}
    assert set(narrow) == {*direct, "bus-voltage"}
    for found in (*direct.values(), *narrow.values()):
        for r in found.rungs:
            assert r.low <= r.typ <= r.high, (found.key, r.name)
            assert r.origin
    assert [r.kind for r in direct["inlet-voltage"].rungs] == ["normal", "threshold", "overshoot", "rating", "rating"]


def test_the_source_ladder_holds_the_adapters_own_numbers(rungs, twelve):
    # 3.25 A rated; trips between 110 % and 150 % of it (the default of a fixed source). The limit is set 3 % below.
    limit, rated, trips, _ = rungs("direct")["source-current"].rungs
    assert limit.typ <= 0.97 * 3.25
    assert rated.typ == 3.25
    assert (trips.low, trips.high) == pytest.approx((3.575, 4.875))
    # Pain: a limit within the trip band trips touchy sources. A margin of zero with the controller's own error does.
    tight = rungs("direct", twelve + "rules: {source_margin: 0 %}\n")["source-current"]
    assert [f.where for f in ladder_findings(tight)] == ["source current"]
    assert ladder_findings(rungs("direct", twelve + "rules: {source_margin: 10 %}\n")["source-current"]) == ()


def test_a_weak_part_behind_the_pair_is_told(rungs, bench, twelve):
    b = bench("direct", twelve)
    assert ladder_findings(rungs("direct")["inlet-voltage"]) == ()
    weak = replace(b.build.a_low, v_max=24.0)
    (found,) = ladder_findings(rungs("direct", a_low=weak)["inlet-voltage"])
    assert found.severity == "serious"
    assert "source-side low switch" in found.what
    assert found.limit == 24.0


def test_the_pack_floor_shuts_the_product_down_before_the_pack_cuts(rungs, twelve):
    floor = rungs("direct", twelve.replace("capacity: 5 Ah", "capacity: 5 Ah\n  v_cell_min: 3 V"))["pack-floor"]
    works, stops, cuts = floor.rungs
    assert not floor.climbs
    assert works.low == pytest.approx(6.0)
    assert stops.high <= works.low
    # 0.25 V below the lowest working voltage of each cell, 50 mV of tolerance: common practice, stated in the ladder.
    assert cuts.high == pytest.approx(2 * (3.0 - 0.25 + 0.05))
    assert ladder_findings(floor) == ()
