"""Which of many rows no other row beats: fronts over criteria that are all better when smaller."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def front(criteria: Floats) -> Ints:
    """Return the indices of the rows that no other row matches or beats in every column, in rising order.

    criteria : (rows, columns), smaller is better. Of equal rows, the first stands for all.
    """
    if not len(criteria):
        return np.zeros(0, dtype=np.int64)
    scale = np.ptp(criteria, axis=0)
    order = np.argsort((criteria / np.where(scale > 0.0, scale, 1.0)).sum(axis=1), kind="stable")
    left = order
    kept: list[int] = []
    while len(left):
        first = left[0]
        kept.append(int(first))
        # What the first one, of least sum, matches or beats everywhere goes; what is left beats it somewhere.
        left = left[np.any(criteria[left] < criteria[first], axis=1)]
    return np.sort(np.array(kept, dtype=np.int64))


def undominated(criteria: Floats, doubt: Floats, may_beat: Bools | None = None) -> Ints:
    """Return the indices of the rows that no other row beats in every column, whatever the doubt about the numbers.

    doubt    : (rows, columns); how far each number may be off to either side
    may_beat : (rows,) which rows may beat others; all by default
    A number that is matched without doubt counts as beaten; of rows that match each other everywhere, the first stays.
    """
    n = len(criteria)
    ahead = np.ones(n, dtype=bool) if may_beat is None else may_beat
    least, most = criteria - doubt, criteria + doubt
    beaten = np.tile(ahead, (n, 1))
    for column in range(criteria.shape[1]):
        beaten &= least[:, column, None] >= most[None, :, column]
    mutual = beaten & beaten.T
    beaten &= ~mutual | (np.arange(n)[:, None] > np.arange(n)[None, :])
    return np.flatnonzero(~beaten.any(axis=1))
