"""How long a year of one-second steps takes: the usage engine over a measured load, and the reading of its log.

    python benchmarks/usage_year.py            a minute or two
    python benchmarks/usage_year.py --small    seconds; the numbers mean nothing then

The year is the tablet of the examples: a noisy load that differs in each second, on the adapter but for an hour and a
half a day, with every start of the printer 30 W above. The yardstick beside it is the plain form of the same code over
a shorter time. Energy and charge are checked in every run.
"""

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from machine import about, median, other_load, peak_memory, repeated

from chargewright.bridges.load_log import read_load_log
from chargewright.parts.cell import frozen
from chargewright.spec.load import load_design
from chargewright.studies.one_path import built_path
from chargewright.studies.usage.record import UsageRun
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.series import Demand, LoadLog, log_demand
from chargewright.studies.usage.settings import UsageSettings

EXAMPLE = Path(__file__).resolve().parent.parent / "examples" / "tablet.yaml"
PATH = "narrow-buck-boost"
DAY = 86400


def load_of(seconds: int) -> np.ndarray:
    """Return a load that differs in each second [W]: work, an hour and a half on the pack, a quiet night."""
    rng = np.random.default_rng(11)
    hour = np.arange(seconds) % DAY / 3600.0
    power = np.where(hour < 11.5, 15.0, 3.0)
    power += rng.normal(0.0, 1.5, seconds)
    power[rng.random(seconds) < 2e-3] += 30.0
    return np.clip(power, 0.02, None, out=power)


def demand_of(power: np.ndarray) -> LoadLog:
    """Return the load as a log with its sources."""
    hour = np.arange(len(power)) % DAY / 3600.0
    source = np.where((hour >= 10.0) & (hour < 11.5), -1, 0).astype(np.int8)
    return LoadLog(
        name="made.csv",
        step=1.0,
        power=frozen(power),
        peak=frozen(power),
        source=source,
        sources=("dock adapter",),
        energy=float(np.sum(power)),
        rows=len(power),
        notes=(),
    )


def runner(days: float) -> tuple[Callable[[str, float], UsageRun], Demand]:
    """Return a function that runs so many days with one engine, and what is asked for."""
    design = load_design(EXAMPLE)
    built = built_path(design, EXAMPLE, PATH, lambda _what, _share: None)
    demand = log_demand(built.case, demand_of(load_of(int(days * DAY))))

    def run(engine: str, length: float) -> UsageRun:
        settings = UsageSettings(days=length, rows=9000)
        return usage(built.case, built.plan, built.hardware, demand=demand, settings=settings, engine=engine)

    return run, demand


def steps(days: float, plain_days: float, repeats: int) -> None:
    """Print the time of a year, compiled, and the rate of the plain form beside it."""
    run, _ = runner(days)
    run("compiled", plain_days)  # compiled or fetched once
    found: list[UsageRun] = []
    fast = repeated(lambda: found.append(run("compiled", days)), repeats)
    slow = repeated(lambda: found.append(run("plain", plain_days)), 1)
    year, short = found[0], found[-1]
    apart = abs(run("compiled", plain_days).e_wall / short.e_wall - 1.0)
    print(f"{days:g} days of one-second steps, {year.steps} steps, {repeats} repeats, medians;", end=" ")
    print(f"meanwhile other processes used {other_load([*fast, *slow])}")
    print(
        f"  compiled: {median(fast, 'wall'):.2f} s wall time, {median(fast, 'own'):.2f} s of processor time,", end=" "
    )
    print(f"{median(fast, 'own') / year.steps * 1e9:.0f} ns a step, the path's tables included")
    print(f"  plain:    {median(slow, 'own') / short.steps * 1e9:.0f} ns a step; wall energy differs by {apart:.1e}")
    print(f"  energy and charge unaccounted for: {year.unaccounted:.1e} of what flowed")
    print(f"  peak memory {peak_memory() / 2**30:.2f} GiB, the year's load included")


def reading(rows: int) -> None:
    """Print the time to read a log."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "load.csv"
        with path.open("w") as file:
            file.write("time [ms],power [W]\n")
            file.writelines(f"{20 * k},{5.0 + k % 977 / 100.0:.2f}\n" for k in range(rows))
        (watch,) = repeated(lambda: read_load_log(path, step=1.0), 1)
        megabytes = path.stat().st_size / 1e6
    print(f"reading a log of {megabytes:.0f} MB ({rows} rows): {watch.wall:.1f} s wall time,", end=" ")
    print(f"{watch.own:.1f} s of processor time, {megabytes / watch.own:.0f} MB/s")


def main() -> None:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="run once, small: shows only that it runs")
    small = parser.parse_args().small
    print(about())
    steps(*((1.0, 0.02, 1) if small else (365.0, 1.0, 5)))
    reading(20_000 if small else 5_000_000)


if __name__ == "__main__":
    main()
