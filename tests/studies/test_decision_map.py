"""The decision map: it agrees with the ranking it is made of, and its energy with a day that is lived through."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.spec.rules import WeightsSpec
from chargewright.studies.day import day
from chargewright.studies.decision_map import Contender, decision_map, profile
from chargewright.studies.verdict import rank

PATHS = ("direct", "narrow-buck", "narrow-buck-boost")
BIG = "capacity: 5 Ah\n  parallel: 4"
USAGE = "usage: [{mode: work, source: adapter, duration: 18 h}, {mode: work, source: none, duration: 6 h}]\n"
BOARD = "ambient: {board: 3 K/W}\n"
SAME = {"energy": 1.0, "run_time": 1.0, "heat": 1.0, "charge_time": 1.0, "cost": 1.0, "area": 1.0}


def contenders(bench, text, paths=PATHS, **measures):
    found = {}
    for key in paths:
        b = bench(key, text)
        found[key] = Contender(
            plan=b.plan, hardware=b.hardware, measures={**SAME, **measures.get(key.replace("-", "_"), {})}
        )
    return found


@pytest.fixture(scope="module")
def text(twelve):
    return twelve.replace("capacity: 5 Ah", BIG) + BOARD + USAGE


@pytest.fixture(scope="module")
def mapped(bench, case_of, text):
    return decision_map(case_of(text), contenders(bench, text), WeightsSpec())


def test_the_profile_is_the_products_own_day(case_of, twelve):
    # By hand: 12 W for 8 h and 3 W for 4 h on the adapter, 12 W for 2 h on the pack, 20 mW switched off for 10 h on it.
    text = (
        twelve
        + "  modes: [{name: work, power: 12 W}, {name: rest, power: 3 W}]\nusage:\n"
        + "".join(
            f"  - {{mode: {m}, source: {s}, duration: {h} h}}\n"
            for m, s, h in (("work", "adapter", 8), ("rest", "adapter", 4), ("work", "none", 2), ('"off"', "none", 10))
        )
    )
    load = profile(case_of(text))
    assert load.mean == pytest.approx((12.0 * 10 + 3.0 * 4 + 0.02 * 10) / 24)
    assert load.share == pytest.approx(0.5)
    assert load.power @ load.on == pytest.approx((12.0 * 8 + 3.0 * 4) / 12)
    assert load.power @ load.off == pytest.approx((12.0 * 2 + 0.02 * 10) / 12)


def test_the_axes_hold_the_product(mapped, case_of, text):
    load = profile(case_of(text))
    assert mapped.power[0] < load.mean < mapped.power[-1]
    assert (mapped.share[0], mapped.share[-1]) == (0.0, 1.0)
    assert mapped.winner.shape == mapped.lead.shape == (len(mapped.power), len(mapped.share))
    assert mapped.mean_input.shape == (len(PATHS), *mapped.winner.shape)


@pytest.mark.parametrize("key", PATHS)
def test_mean_input_is_what_a_day_of_that_profile_takes(key, mapped, bench, text):
    # Second road: change the load itself by the map's scale, live through the day, and divide its energy by its length.
    # The map charges at a half-full pack; a day also tapers towards the full one and back: 2 %.
    k = mapped.paths.index(key)
    own = bench(key, text)
    for i, j in ((3, 8), (5, 7)):
        power, share = mapped.power[i], mapped.share[j]
        off = 24.0 * (1.0 - share)
        usage = (
            f"usage: [{{mode: work, source: adapter, duration: {24.0 - off:.4f} h}}, "
            f"{{mode: work, source: none, duration: {off:.4f} h}}]\n"
        )
        case = replace(bench(key, text.replace(USAGE, usage)).case, modes={"work": float(power)})
        lived = day(case, own.plan, own.hardware, 298.15)
        assert lived.t_unserved == 0.0
        assert mapped.mean_input[k, i, j] == pytest.approx(lived.e_source / 86400.0, rel=0.02), (power, share)


def test_without_time_on_the_pack_the_input_is_that_of_the_resting_path(mapped, bench, text):
    # All the time on the source with a full pack: input = load + losses of the path at rest, nothing is charged. By the
    # ledger's own definition; the direct path loses less than the narrow one on the way to the bus.
    always = mapped.mean_input[:, :, -1]
    assert np.all(always > mapped.power)
    assert np.all(np.diff(always, axis=1) > 0.0)
    assert np.all(mapped.mean_input[:, :, 5] > always)  # what went through the pack cost more


def test_energy_alone_makes_the_map_that_of_the_least_input(bench, case_of, text):
    only = WeightsSpec(energy=1.0, run_time=0.0, heat=0.0, charge_time=0.0, cost=0.0, area=0.0)
    found = decision_map(case_of(text), contenders(bench, text), only)
    able = np.isfinite(found.mean_input).all(axis=0)
    assert able.any()
    assert np.array_equal(found.winner[able], np.argmin(found.mean_input, axis=0)[able])
    # Score and lead by hand: 1 for the least, least over own for the next.
    two = np.sort(found.mean_input, axis=0)
    assert found.lead[able] == pytest.approx((1.0 - two[0] / two[1])[able], abs=1e-12)


def test_what_the_map_does_not_sweep_still_counts(bench, case_of, text):
    # Cost alone: the same winner everywhere, and it is the one that `rank` gives.
    only = WeightsSpec(energy=0.0, run_time=0.0, heat=0.0, charge_time=0.0, cost=1.0, area=0.0)
    made = contenders(bench, text, direct={"cost": 3.0}, narrow_buck={"cost": 2.0}, narrow_buck_boost={"cost": 5.0})
    found = decision_map(case_of(text), made, only)
    first = rank({k: c.measures for k, c in made.items()}, only).order[0].key
    assert first == "narrow-buck"
    assert set(found.winner[found.winner >= 0]) == {found.paths.index(first)}


def test_the_direct_path_leaves_the_map_where_the_source_ends(bench, case_of, text):
    # 65 W of adapter; narrow buses let the pack help, the direct path does not. The load reaches 2.5 · 40 W here.
    heavy = text.replace("load: 12 W", "load: 100 W\n  modes: [{name: work, power: 40 W}]")
    found = decision_map(case_of(heavy), contenders(bench, heavy, ("direct", "direct-boost")), WeightsSpec())
    direct, boost = (found.mean_input[found.paths.index(k)] for k in ("direct", "direct-boost"))
    limit = 0.97 * 3.25 * 20.0
    beyond = found.power > limit
    assert beyond.any()
    assert np.isnan(direct[beyond]).all()
    assert np.isfinite(boost[beyond][:, -1]).any()
    # Where neither can refill the pack nobody wins.
    nobody = np.isnan(direct) & np.isnan(boost)
    assert nobody.any()
    assert np.all(found.winner[nobody] == -1)
    assert np.isnan(found.lead[nobody]).all()
