"""Core loss of one interval of a piecewise-linear flux: the improved generalised Steinmetz equation, term by term."""

from typing import Annotated, Any

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import CubicMetres, Ratio, Teslas, Watts

TeslasPerSecond = Annotated[Any, "T/s"]


@relation
def igse_interval_loss(
    k_i: Ratio, alpha: Ratio, beta: Ratio, db: Teslas, flux_slope: TeslasPerSecond, share: Ratio, volume: CubicMetres
) -> Watts:
    """Return what one interval of constant flux slope adds to the mean core loss.

    The sum over the intervals of a period is the core loss of any piecewise-linear flux:

        P = volume·k_i·db^(beta − alpha)·|flux_slope|^alpha·share

    k_i        : iGSE coefficient, see `magnetics.igse_coefficient` [1]
    alpha      : Steinmetz exponent of frequency [1]
    beta       : Steinmetz exponent of flux density [1]
    db         : peak-to-peak flux density over the whole period [T]
    flux_slope : volts on the coil over turns times cross-section [T/s]
    share      : duration of the interval over all time, pauses between pulses included [1]
    volume     : core volume [m³]
    returns the loss averaged over all time [W]; all arguments broadcast.

    Holds for one flux loop per period without minor loops. Bias and temperature of the core are not in it; leave
    them to a coefficient that was measured under bias.

    Source: K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, Accurate prediction of ferrite core loss with
    nonsinusoidal waveforms using only Steinmetz parameters, IEEE COMPEL 2002, eq. 8 and 14 (from memory).
    """
    floor = np.maximum(db, 1e-12)
    slope = np.maximum(np.abs(flux_slope), 1e-12)
    return volume * np.where(share > 0.0, k_i * floor ** (beta - alpha) * slope**alpha * share, 0.0)
