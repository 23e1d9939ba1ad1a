"""Converter losses at many points: the search for parts."""

import numpy as np

from chargewright.network.sweep import COLUMNS, every_point, sweep
from chargewright.studies.kernels import Kernel


def _tiny() -> object:
    return sweep(20.0, 8.0, 2.0, np.ones((1, COLUMNS)), compile_from=0)


KERNEL = Kernel(title="converter losses at many points", function=every_point, tiny=_tiny, cost=3.0)
