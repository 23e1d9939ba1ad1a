"""Error budgets: adding contributions up, the uniform law, and how much a number of runs proves."""

import math

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.base.relation import relation
from chargewright.base.units import Amps, Ohms, Ratio, Real, Volts


def root_sum_square(contributions: Real) -> float:
    """Return the root of the sum of the squares: how independent contributions, each a standard deviation, add up.

    contributions : standard deviations, all in the unit of the result

    Source: JCGM 100:2008, Evaluation of measurement data (GUM), 5.1.2, all sensitivities 1 (from memory).
    """
    return float(np.sqrt(np.sum(np.square(contributions))))


def worst_sum(contributions: Real) -> float:
    """Return the sum of the sizes: what no combination of the contributions exceeds.

    contributions : half-widths, all in the unit of the result

    Source: triangle inequality.
    """
    return float(np.sum(np.abs(contributions)))


@relation
def uniform_deviation(half_width: Ratio) -> Ratio:
    """Return the standard deviation of what may be anywhere between two limits.

        sigma = half_width/√(3)

    half_width : half of the distance between the limits, in any unit [1]
    returns the standard deviation in the same unit [1].

    Holds for the uniform law.

    Source: JCGM 100:2008, Evaluation of measurement data (GUM), 4.3.7 (from memory).
    """
    return half_width / np.sqrt(3.0)


@relation
def step_deviation(step: Ratio) -> Ratio:
    """Return the standard deviation of the error of rounding to a step.

        sigma = step/√(12)

    step : distance between neighbours, in any unit [1]
    returns the standard deviation in the same unit [1].

    Holds for rounding to the nearest of many steps.

    Source: JCGM 100:2008, Evaluation of measurement data (GUM), 4.3.7 and F.2.2.1 (from memory).
    """
    return step / np.sqrt(12.0)


@relation
def sense_offset_current(v_offset: Volts, r_sense: Ohms) -> Amps:
    """Return the current error that an amplifier's offset makes at a sense resistor.

        i = v_offset/r_sense

    v_offset : offset voltage referred to the input [V]
    r_sense  : sense resistor [Ω]
    returns the current error [A]; all arguments broadcast.

    Holds at any current, which is why it decides at precharge and termination.

    Source: G. S. Ohm, Die galvanische Kette, mathematisch bearbeitet, 1827.
    """
    return v_offset / r_sense


@relation
def bound_confidence(runs: Ratio, coverage: Ratio) -> Ratio:
    """Return the confidence that the greatest of some runs bounds a share of all cases from above.

        confidence = 1 − coverage^runs

    runs     : number of independent runs [1]
    coverage : share of all cases to be bounded [1]
    returns the confidence [1]; all arguments broadcast.

    Holds for any continuous law.

    Source: S. S. Wilks, Determination of sample sizes for setting tolerance limits, Annals of Mathematical Statistics
    12(1), 1941 (from memory).
    """
    return 1.0 - coverage**runs


@relation
def interval_confidence(runs: Ratio, coverage: Ratio) -> Ratio:
    """Return the confidence that least and greatest of some runs enclose a share of all cases.

        confidence = 1 − runs·coverage^(runs − 1) + (runs − 1)·coverage^runs

    runs     : number of independent runs [1]
    coverage : share of all cases to be enclosed [1]
    returns the confidence [1]; all arguments broadcast.

    Holds for any continuous law.

    Source: S. S. Wilks, Determination of sample sizes for setting tolerance limits, Annals of Mathematical Statistics
    12(1), 1941 (from memory).
    """
    return 1.0 - runs * coverage ** (runs - 1.0) + (runs - 1.0) * coverage**runs


@relation
def failure_rate_bound(runs: Ratio, confidence: Ratio) -> Ratio:
    """Return the greatest failure rate that fits some runs without any failure.

        rate = 1 − (1 − confidence)^(1/runs)

    runs       : number of independent runs, none of which failed [1]
    confidence : confidence wanted [1]
    returns the bound on the rate, about 3/runs for 95 % [1]; all arguments broadcast.

    Holds for independent runs drawn as the product's own parts are.

    Source: derived here: (1 − rate)^runs is the chance of no failure. J. A. Hanley, A. Lippman-Hand, If nothing goes
    wrong, is everything all right?, JAMA 249, 1983 (rule of three).
    """
    return 1.0 - (1.0 - confidence) ** (1.0 / runs)


def runs_for_bound(coverage: float, confidence: float) -> int:
    """Return the least number of runs whose greatest result bounds `coverage` of all cases with `confidence`."""
    _require_open("coverage", coverage)
    _require_open("confidence", confidence)
    runs = max(1, math.ceil(math.log(1.0 - confidence) / math.log(coverage)) - 1)
    while bound_confidence(runs, coverage) < confidence:
        runs += 1
    return runs


def runs_for_interval(coverage: float, confidence: float) -> int:
    """Return the least number of runs whose extremes enclose `coverage` of all cases with `confidence`."""
    runs = runs_for_bound(coverage, confidence)
    while interval_confidence(runs, coverage) < confidence:
        runs += 1
    return runs


def _require_open(name: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        raise OutOfRange(f"{name} is {value:g}: give a share above 0 and below 1 (95 % is 0.95)")
