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


def undominated(criteria: Floats, slack: Floats, may_beat: Bools | None = None) -> Ints:
    """Return the indices of the rows that no other row beats by more than `slack` in every column.

    slack    : (columns,); how wrong each column may be. In a column without slack, a row is beaten when it is matched.
    may_beat : (rows,) which rows may beat others; all by default
    Of equal rows, the first stands for all where there is no slack.
    """
    n = len(criteria)
    ahead = np.ones(n, dtype=bool) if may_beat is None else may_beat
    worse = np.all(criteria[:, None, :] >= criteria[None, :, :] + slack, axis=2)
    equal = np.all(criteria[:, None, :] == criteria[None, :, :], axis=2)
    later = np.arange(n)[:, None] > np.arange(n)[None, :]
    beaten = worse & (~equal | later) & ahead[None, :]
    return np.flatnonzero(~beaten.any(axis=1))


def one_per_cell(criteria: Floats, cells: Floats, score: Floats) -> Ints:
    """Return for each cell of a grid the row of least score in it.

    criteria : (rows, columns)
    cells    : (columns,) size of a cell
    score    : (rows,)
    """
    order = np.argsort(score, kind="stable")
    keys = np.floor(criteria[order] / cells).astype(np.int64)
    _, first = np.unique(keys, axis=0, return_index=True)
    return np.sort(order[first])
