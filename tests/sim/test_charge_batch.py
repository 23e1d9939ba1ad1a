"""Many charges at once are the charges that one at a time gives."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from chargewright.base.errors import OutOfRange
from chargewright.parts.cell import scaled
from chargewright.parts.pack import Pack
from chargewright.sim.charge import run_charge
from chargewright.sim.charge_batch import ChargeBatch, charge_batch
from chargewright.sim.charge_setup import BRISK, FINE, ChargeSettings, charge_settings
from chargewright.spec.pack import ChargeSpec

Make = Callable[..., Pack]
ROOM = 298.15


@pytest.fixture
def pack(make_pack: Make) -> Pack:
    return make_pack(series=2)


@pytest.fixture
def wanted(pack: Pack) -> ChargeSettings:
    return charge_settings(ChargeSpec(), pack)


def test_each_charge_of_a_batch_is_the_one_run_alone(pack: Pack, wanted: ChargeSettings):
    # Same lines with the same accuracy, so rounding only; the third is cut back by its source, the fourth is cold.
    soc, temp, i_source = [0.0, 0.3, 0.2, 0.5], [298.15, 288.15, 298.15, 263.15], [np.inf, np.inf, 1.0, np.inf]
    batch = charge_batch(
        pack, wanted, soc_start=soc, temp_ambient=temp, i_available=i_source, accuracy=BRISK, engine="plain"
    )
    for k in range(4):
        available = None if np.isinf(i_source[k]) else (lambda v, k=k: i_source[k] + 0.0 * v)
        run = run_charge(
            pack, wanted, soc_start=soc[k], temp_ambient=temp[k], available=available, accuracy=BRISK, engine="plain"
        )
        assert batch.ended_by[k] == run.ended_by
        for name in ("t_end", "charge", "heat_cells", "heat_leads"):
            assert getattr(batch, name)[k] == pytest.approx(getattr(run, name), rel=1e-9), name
        assert batch.t_80[k] == pytest.approx(run.t_80 if run.t_80 is not None else np.nan, rel=1e-9, nan_ok=True)
        assert batch.v_cell_highest[k] == pytest.approx(run.trace.v_cell_highest.max(), rel=1e-12)
        # Stored energy and heat are exact; the run integrates v·i by Simpson's rule on its own.
        assert batch.energy_in[k] == pytest.approx(run.energy_in, rel=2e-4)


def test_factors_mean_a_smaller_and_more_resistive_cell(make_pack: Make):
    # Second road: the cell itself with 80 % of its charge and 1.5 of its resistance; its heat capacity stays.
    pack = make_pack(series=1)
    wanted = charge_settings(ChargeSpec(), pack)
    small = scaled(pack.cell, 0.8 * pack.cell.capacity)
    aged = replace(
        small,
        capacity=pack.cell.capacity,
        r0_charge=pack.cell.r0_charge * 1.5,
        pairs=tuple(replace(p, r_charge=q.r_charge * 1.5) for p, q in zip(small.pairs, pack.cell.pairs, strict=True)),
        heat_capacity=pack.cell.heat_capacity,
        thermal_resistance=pack.cell.thermal_resistance,
    )
    run = run_charge(replace(pack, cell=aged), wanted, soc_start=0.1, temp_ambient=ROOM, accuracy=BRISK)
    batch = charge_batch(pack, wanted, soc_start=0.1, temp_ambient=ROOM, capacity=0.8, resistance=1.5, engine="plain")
    assert float(batch.t_end) == pytest.approx(run.t_end, rel=1e-9)
    assert float(batch.charge) == pytest.approx(run.charge, rel=1e-9)


def test_brisk_is_as_exact_as_it_says(pack: Pack, wanted: ChargeSettings):
    # 1e-3 as its docstring says, against the same charges in fine steps.
    keys = {"soc_start": [0.0, 0.5], "temp_ambient": [ROOM, 283.15 + 1e-3], "engine": "plain"}
    brisk, fine = (charge_batch(pack, wanted, accuracy=a, **keys) for a in (BRISK, FINE))
    np.testing.assert_allclose(brisk.t_end, fine.t_end, rtol=1e-3)
    np.testing.assert_allclose(brisk.t_80, fine.t_80, rtol=5e-4)
    np.testing.assert_allclose(brisk.energy_in, fine.energy_in, rtol=2e-4)


def test_shapes_broadcast_and_nothing_in_gives_nothing_out(pack: Pack, wanted: ChargeSettings):
    grid = charge_batch(
        pack, wanted, soc_start=np.array([[0.5], [0.9]]), temp_ambient=np.array([ROOM, 303.15, 308.15]), engine="plain"
    )
    assert grid.t_end.shape == grid.ended_by.shape == (2, 3)
    assert np.all(grid.t_end[0] > grid.t_end[1])
    assert grid.complete.all()
    none = charge_batch(pack, wanted, soc_start=np.zeros(0), temp_ambient=ROOM)
    assert none.t_end.shape == (0,)


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"soc_start": 1.2}, "soc_start"),
        ({"capacity": 80.0}, "capacity"),
        ({"resistance": 150.0}, "resistance"),
        ({"i_charge": 0.1}, "above the termination current"),
        ({"v_set": 9.5}, "below every rest voltage"),
        ({"temp_ambient": np.nan}, "not finite"),
    ],
)
def test_what_cannot_be_charged_is_refused(pack: Pack, wanted: ChargeSettings, keys: dict[str, float], says: str):
    with pytest.raises(OutOfRange, match=says):
        charge_batch(pack, wanted, **({"soc_start": 0.5, "temp_ambient": ROOM} | keys))


@pytest.mark.slow  # compiling takes several seconds
def test_both_engines_and_any_number_of_threads_give_the_same(pack: Pack, wanted: ChargeSettings):
    # 1e-9: the same operations; the machine's exponential may round otherwise.
    rng = np.random.default_rng(4)
    keys = {"soc_start": rng.uniform(0.0, 0.9, 450), "temp_ambient": rng.uniform(270.0, 315.0, 450)}
    fast = charge_batch(pack, wanted, **keys)
    some = slice(0, 450, 45)
    plain: ChargeBatch = charge_batch(pack, wanted, **{k: v[some] for k, v in keys.items()}, engine="plain")
    np.testing.assert_allclose(fast.t_end[some], plain.t_end, rtol=1e-9)
    assert fast.ended_by[some].tolist() == plain.ended_by.tolist()
