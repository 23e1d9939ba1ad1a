"""The averaged circuit in time, in scalar code that runs plain or compiled and gives the same numbers.

x' = Σ share·A·x over the modes of one period, the shares from the duty and from where the coil's current stops. Two
kinds of stretch end a current: a stretch in which only diodes carry it (discontinuous conduction: the share follows
from the mean coil current, as J. Sun, D. M. Mitchell, M. F. Greuel, P. T. Krein, R. M. Bass, "Averaged modeling of PWM
converters operating in discontinuous conduction mode", IEEE Trans. Power Electronics 16(4), 2001, from memory), and a
dead time that begins with little current.

Steps are those of an L-stable Rosenbrock method of order 4 with six stages and dense output (E. Hairer, G. Wanner,
Solving Ordinary Differential Equations II, Springer 1996, section VI.4, method RODAS; coefficients from memory. On a
closed loop halving the step divides the error by 2^4.0; tests hold the whole to an exact solution.)
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

DONE, FULL, NEED_FRAME, CHATTER, BROKEN, STUCK = range(6)
PLUS, MINUS, IDLE = range(3)
"""Directions of the coil's current."""
OPEN, MAIN, OTHER = range(3)
"""What a leg of the modulator does."""
COIL, FIRST_SLOPE = 2, 3
"""Places of the functionals: comparators of two legs, coil current, slopes."""
KEY, BREAK, FLIPS, STEPS, WRITTEN = range(5)
TIME, STEP, WINDOW, ERROR = range(4)
"""The last is the error of a step over the largest value that the state has had."""
SAMPLES = 4
"""Instants of each step at which the tape keeps what the period is made of: at its beginning and evenly on."""
FADE = 0.01
"""Duty above none, or short of one, within which the dead time fades: a pulse that never begins or ends has none."""
FLOOR = 1e-2
"""Least size of a state to which the tolerance is relative [A, V]."""
ROUNDING = 1e-7
"""How far below zero a watched row may be, over the size of the state."""
BEYOND = 1e12
"""Size of a state at which it counts as running away [A, V]."""
MOST_FLIPS = 200
MOST_STEPS = 1500
"""In one period; a cold start takes some fifty, a slow transient a tenth of one."""
NUDGE = 1e-7


STAGES = 6
LAST = (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950)
AHEAD = np.array([
    (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    (1.544, 0.0, 0.0, 0.0, 0.0, 0.0),
    (0.9466785280815826, 0.2557011698983284, 0.0, 0.0, 0.0, 0.0),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817, 0.0, 0.0, 0.0),
    (*LAST, 0.0, 0.0),
    (*LAST, 1.0, 0.0),
    (*LAST, 1.0, 1.0),
])  # fmt: skip
"""Where each stage is evaluated, and the end of the step; the last stage is the error."""
MIXED = np.array([
    (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    (-5.6688, 0.0, 0.0, 0.0, 0.0, 0.0),
    (-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0, 0.0),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0.0, 0.0, 0.0),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160, 0.0, 0.0),
    (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054, 0.0),
])  # fmt: skip
BOW = np.array([10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823, 1.025137723295662, 0.0])
TWIST = np.array(
    [-0.6762803392801253, 6.087714651680015, 16.43084320892478, 24.76722511418386, -6.594389125716872, 0.0]
)
"""Dense output, of order 3."""


class Book(NamedTuple):
    """The circuit's frames as arrays, see `_averaged_layout`."""

    number: Indices
    """1 + the frame by slow key; 0 where it has not been met."""
    a: Floats
    rows: Floats
    steps: Indices
    """For each watched row what is added to the key, and which state is set to zero (-1 for none)."""
    watched: Indices
    mode: Indices
    """Mode by frame, pattern and direction."""
    column: Indices
    """Which functional is the coil's slope, by frame, pattern and direction."""
    one_way: Flags
    u: Floats
    """The few combinations of states that the shares depend on: comparator, coil current, slopes of the coil."""
    used: Indices
    edges: Floats
    period: float
    height: float
    """Of the ramp over one period [V]."""
    dead: float
    """Dead time over the period."""
    legs: int
    held: Flags
    """Frames in which pulses are left out."""
    coil: int
    with_coil: bool
    small: float


class Breaks(NamedTuple):
    """Known instants at which a wave breaks or a switch is set."""

    t: Floats
    place: Indices
    value: Floats
    slope: Floats


class Parts(NamedTuple):
    """The modes of one period with their shares, and the coil's mean current in each."""

    mode: Indices
    share: Floats
    current: Floats
    pattern: Indices
    push: Indices
    width: Floats
    flows: Floats
    starts: Floats
    scratch: Floats
    ends: Floats


class Tape(NamedTuple):
    """Every step: where it begins, its whole length, its state and the three vectors of its dense output."""

    t: Floats
    h: Floats
    key: Indices
    x: Floats
    end: Floats
    bow: Floats
    twist: Floats
    mode: Indices
    """Modes of the period by step, sample and part; their shares and the coil's current in each stand beside."""
    share: Floats
    current: Floats


def parts_for(patterns: int) -> Parts:
    """Return room for the modes of one period."""
    room = 2 * (patterns + 8)
    real = np.zeros((6, room))
    mode, pattern, push = np.zeros((3, room), np.int64)
    return Parts(mode, real[0], real[1], pattern, push, real[2], real[3], real[4], real[5], np.zeros((2, 4)))


def pulse_of(leg: int, legs: int) -> int:
    """Return the pattern, within one stretch of the fixed gates, in which a leg's pulse ends."""
    if legs == 1:
        return MAIN
    return 3 * MAIN + OTHER if leg == 0 else 3 * MAIN + MAIN


def duty_of(book: Book, f: int, u: Floats, leg: int) -> float:
    """Return the pulse over the period at which the compared signal reaches the control voltage; may pass 0 or 1.

    The coil's current at the end of the pulse is its mean while it flows plus half its rise; where it stops in each
    period the mean while it flows is half its rise.
    """
    main = pulse_of(leg, book.legs)
    rise = 0.0
    gain = 0.0
    if book.with_coil:
        rise = u[book.column[f, main, PLUS]] * book.period
        gain = book.u[f, leg, book.coil]
    bottom = book.height - 0.5 * gain * rise
    top = u[leg] - 0.5 * gain * rise * book.dead
    duty = top / bottom if bottom > 0.0 else (2.0 if top > 0.0 else -1.0)
    if gain * rise < 0.0 and book.one_way[f, main - MAIN + OTHER]:
        bottom = book.height - gain * rise
        top = u[leg] - gain * u[COIL] - gain * rise * book.dead
        if bottom > 0.0:
            duty = min(duty, top / bottom)
    return duty


def stretches(book: Book, f: int, u: Floats, parts: Parts) -> int:
    """Write the patterns of one period and their widths; return how many there are."""
    ends = parts.ends
    for leg in range(book.legs):
        if book.held[f]:
            ends[leg, :3] = 0.0
        else:
            duty = duty_of(book, f, u, leg)
            dead = book.dead * min(max(min(1.0 - duty, duty) / FADE, 0.0), 1.0)
            pulse = min(max(duty, 0.0), 1.0)
            # The pulse counts from the clock, its dead time included.
            ends[leg, 0] = min(dead, 1.0)
            ends[leg, 1] = max(ends[leg, 0], pulse)
            ends[leg, 2] = min(max(ends[leg, 1], pulse + dead), 1.0)
        ends[leg, 3] = 1.0
    ways = 3**book.legs
    count = 0
    at = 0.0
    for j in range(len(book.edges) - 1):
        while at < book.edges[j + 1]:
            end = book.edges[j + 1]
            pattern = 0
            for leg in range(book.legs):
                k = 0
                while ends[leg, k] <= at:
                    k += 1
                end = min(end, ends[leg, k])
                pattern = 3 * pattern + (MAIN if k == 1 else OTHER if k == 3 else OPEN)
            parts.pattern[count] = ways * j + pattern
            parts.width[count] = end - at
            count += 1
            at = end
    return count


def put(parts: Parts, count: int, mode: int, share: float, current: float) -> int:
    """Add one mode with its share."""
    if share <= 0.0:
        return count
    parts.mode[count] = mode
    parts.share[count] = share
    parts.current[count] = current
    return count + 1


def shares(book: Book, f: int, u: Floats, parts: Parts) -> int:
    """Write the modes of one period with their shares and coil currents; return how many there are."""
    n = stretches(book, f, u, parts)
    count = 0
    if not book.with_coil:
        for j in range(n):
            count = put(parts, count, book.mode[f, parts.pattern[j], PLUS], parts.width[j], u[COIL])
        return count
    begins = 0
    first = 0
    some = False
    for j in range(n):
        parts.push[j] = push_of(book, f, u, parts.pattern[j])
        some = some or parts.push[j] == IDLE
    for j in range(n):
        if parts.push[j] != IDLE and parts.push[j - 1 if j > 0 else n - 1] == IDLE:
            begins += 1
            first = j
    if some and begins == 0:
        return running_out(book, f, u, parts, n)
    if some and begins == 1:
        return stopping(book, f, u, parts, n, first)
    return lasting(book, f, u, parts, n)


def slope_at(book: Book, f: int, u: Floats, pattern: int, kind: int, current: float) -> float:
    """Return the coil's slope [A/s] in a pattern and direction at a current."""
    mode = book.mode[f, pattern, kind]
    slope: float = u[book.column[f, pattern, kind]] + book.a[mode, book.coil, book.coil] * (current - u[COIL])
    return slope


def push_of(book: Book, f: int, u: Floats, pattern: int) -> int:
    """Return in which direction a stretch drives the coil's current from nothing; IDLE where only diodes end it."""
    if not book.one_way[f, pattern] or slope_at(book, f, u, pattern, PLUS, 0.0) > 0.0:
        return PLUS
    return MINUS if slope_at(book, f, u, pattern, MINUS, 0.0) < 0.0 else IDLE


def at_rest(book: Book, f: int, u: Floats, pattern: int) -> int:
    """Return the mode of a stretch without current: idle, unless a diode is driven even then."""
    return int(book.mode[f, pattern, push_of(book, f, u, pattern)])


def running_out(book: Book, f: int, u: Floats, parts: Parts, n: int) -> int:
    """Shares where nothing drives the current: diodes carry it until it is gone.

    Below a small current they carry it for a share of the period, so that it ends softly, and as softly from both
    sides: a corner at nothing would hold up every step.
    """
    kind = PLUS if u[COIL] >= 0.0 else MINUS
    ahead, back = 0.0, 0.0
    for j in range(n):
        ahead += parts.width[j] * abs(slope_at(book, f, u, parts.pattern[j], kind, 0.0))
        back += parts.width[j] * abs(slope_at(book, f, u, parts.pattern[j], PLUS + MINUS - kind, 0.0))
    reach = min(abs(u[COIL]) / book.small * min(1.0, back / max(ahead, 1e-300)), 1.0)
    current = u[COIL] / reach if reach > 0.0 else 0.0
    count = 0
    for j in range(n):
        p = parts.pattern[j]
        count = put(parts, count, book.mode[f, p, kind], parts.width[j] * reach, current)
        count = put(parts, count, book.mode[f, p, IDLE], parts.width[j] * (1.0 - reach), 0.0)
    return count


def stopping(book: Book, f: int, u: Floats, parts: Parts, n: int, first: int) -> int:
    """Shares where one stretch of diodes follows the driven one: the current may stop in it."""
    i = u[COIL]
    rise, bend, driven = 0.0, 0.0, 0.0
    for j in range(n):
        p = parts.pattern[j]
        if parts.push[j] != IDLE:
            rise += parts.width[j] * book.period * u[book.column[f, p, parts.push[j]]]
            mode = book.mode[f, p, parts.push[j]]
            bend += parts.width[j] * book.period * book.a[mode, book.coil, book.coil]
            driven += parts.width[j]
    # Half the peak that a pulse from zero reaches, at the slope that this current itself leaves.
    half = 0.5 * (rise - bend * i) / (1.0 - 0.5 * bend)
    sign = 1.0 if half > 0.0 else -1.0
    if abs(half) < book.small:
        sign = 1.0 if i >= 0.0 else -1.0
        half = sign * book.small
    ahead = i * half >= 0.0
    if not ahead:
        sign = -sign
    kind = PLUS if sign > 0.0 else MINUS
    fall = 0.0
    for j in range(n):
        if parts.push[j] == IDLE:
            fall += parts.width[j] * u[book.column[f, parts.pattern[j], kind]]
    reach = abs(i / half) if ahead else driven + (1.0 - driven) * min(abs(i) / book.small, 1.0)
    current = i
    if sign * fall < 0.0 and reach < 1.0:
        reach = max(reach, driven)
        if ahead:
            current = i / reach if reach > 0.0 else 0.0
    else:
        reach = 1.0
    left = reach - driven
    count = 0
    for k in range(n):
        j = (first + k) % n
        p = parts.pattern[j]
        width = parts.width[j]
        if parts.push[j] != IDLE:
            # A current that still flows the other way keeps to its own diodes.
            way = kind if book.one_way[f, p] and not ahead else parts.push[j]
            count = put(parts, count, book.mode[f, p, way], width, current)
            continue
        flows = min(width, left) if reach < 1.0 else width
        left -= flows
        count = put(parts, count, book.mode[f, p, kind], flows, current)
        if width > flows:
            count = put(parts, count, at_rest(book, f, u, p), width - flows, 0.0)
    return count


def lasting(book: Book, f: int, u: Floats, parts: Parts, n: int) -> int:
    """Shares where the current goes on, either way; a dead time ends it only if it begins with little."""
    flows, rise, starts = parts.flows, parts.scratch, parts.starts
    at = u[COIL]
    # The first round says at which current each dead time begins, the second what the dead times add.
    for _ in range(2):
        begin = at
        off, mean = 0.0, 0.0
        for j in range(n):
            p = parts.pattern[j]
            flows[j] = parts.width[j]
            starts[j] = begin + off
            if not book.one_way[f, p]:
                rise[j] = parts.width[j] * book.period * u[book.column[f, p, PLUS]]
            else:
                now = starts[j]
                rise[j] = flows[j] * book.period * slope_at(book, f, u, p, PLUS if now >= 0.0 else MINUS, now)
                if (now >= 0.0 and rise[j] < -now) or (now < 0.0 and rise[j] > -now):
                    flows[j] *= -now / rise[j]
                    rise[j] = -now
            mean += parts.width[j] * off + (parts.width[j] - 0.5 * flows[j]) * rise[j]
            off += rise[j]
        at = u[COIL] - mean
    count = 0
    for j in range(n):
        p = parts.pattern[j]
        # Which diode carries a dead time goes with the current that its share was made with.
        kind = MINUS if book.one_way[f, p] and starts[j] < 0.0 else PLUS
        current = starts[j] if book.one_way[f, p] else at
        count = put(parts, count, book.mode[f, p, kind], flows[j], current + 0.5 * rise[j])
        if parts.width[j] > flows[j]:
            count = put(parts, count, at_rest(book, f, u, p), parts.width[j] - flows[j], 0.0)
        at += rise[j]
    return count


def rates_of(book: Book, f: int, x: Floats, u: Floats, parts: Parts) -> Floats:
    """Return x' for given functionals."""
    count = shares(book, f, u, parts)
    found = np.zeros(len(x))
    for k in range(count):
        a = book.a[parts.mode[k]]
        found += parts.share[k] * (np.dot(a, x) + (parts.current[k] - x[book.coil]) * a[:, book.coil])
    return found


def rates(book: Book, f: int, x: Floats, parts: Parts) -> Floats:
    """Return x'."""
    return rates_of(book, f, x, np.dot(book.u[f], x), parts)


def jacobian(book: Book, f: int, x: Floats, here: Floats, parts: Parts) -> Floats:
    """Return ∂x'/∂x: the shares' own matrices, and a column for each functional that the shares depend on."""
    u = np.dot(book.u[f], x)
    count = shares(book, f, u, parts)
    found = np.zeros((len(x), len(x)))
    for k in range(count):
        found += parts.share[k] * book.a[parts.mode[k]]
    # The coil's own column comes with its functional.
    found[:, book.coil] = 0.0
    for m in range(book.used[f]):
        if book.legs <= m < COIL:
            continue
        nudge = NUDGE * (1.0 + abs(u[m]))
        kept = u[m]
        u[m] = kept + nudge
        moved = rates_of(book, f, x, u, parts)
        u[m] = kept
        found += np.outer((moved - here) / nudge, book.u[f, m])
    return found


def violation(book: Book, f: int, x: Floats, parts: Parts) -> tuple[int, float]:
    """Return the watched row whose mean over the period is furthest below zero beyond rounding, or -1; and how far."""
    watched = book.watched[f]
    if watched == 0:
        return -1, 0.0
    count = shares(book, f, np.dot(book.u[f], x), parts)
    value = np.zeros(watched)
    size = np.zeros(watched)
    for k in range(count):
        rows = book.rows[parts.mode[k]][:watched]
        value += parts.share[k] * (np.dot(rows, x) + (parts.current[k] - x[book.coil]) * rows[:, book.coil])
        size += parts.share[k] * np.dot(np.abs(rows), np.abs(x))
    worst = -1
    least = 0.0
    for k in range(watched):
        if value[k] < -ROUNDING * (1.0 + size[k]) and value[k] < least:
            worst = k
            least = value[k]
    return worst, least


def dense(tape: Tape, k: int, share: float) -> Floats:
    """Return the state inside a step, at a share of it."""
    left = 1.0 - share
    found: Floats = left * tape.x[k] + share * (tape.end[k] + left * (tape.bow[k] + share * tape.twist[k]))
    return found


def try_step(
    book: Book, f: int, x: Floats, h: float, j: Floats, here: Floats, parts: Parts, tape: Tape, k: int
) -> Floats:
    """Try one step; the tape takes its end and its dense output. Returns the error of each state."""
    n = len(x)
    inv = np.linalg.inv(np.eye(n) * (4.0 / h) - j)
    # One column for each stage.
    stages = np.zeros((n, STAGES))
    stages[:, 0] = np.dot(inv, here)
    for s in range(1, STAGES):
        rate = rates(book, f, x + np.dot(stages, AHEAD[s]), parts)
        stages[:, s] = np.dot(inv, rate + np.dot(stages, MIXED[s]) / h)
    tape.x[k] = x
    tape.end[k] = x + np.dot(stages, AHEAD[STAGES])
    tape.bow[k] = np.dot(stages, BOW)
    tape.twist[k] = np.dot(stages, TWIST)
    return stages[:, STAGES - 1].copy()


def advance(
    book: Book, breaks: Breaks, x: Floats, most: Floats, ints: Indices, floats: Floats, t_end: float, tape: Tape,
    parts: Parts
) -> int:  # fmt: skip
    """Run from the carried state to `t_end`; return why it stopped. `most` is the largest size of each state so far."""
    while floats[TIME] < t_end:
        if ints[WRITTEN] >= len(tape.t):
            return FULL
        while ints[BREAK] < len(breaks.t) and breaks.t[ints[BREAK]] <= floats[TIME]:
            apply_break(breaks, ints, x)
            floats[STEP] = min(floats[STEP], 0.01 * book.period)
        f = book.number[ints[KEY]] - 1
        if f < 0:
            return NEED_FRAME
        worst, _ = violation(book, f, x, parts)
        if worst >= 0:
            ints[KEY] += book.steps[f, worst, 0]
            if book.steps[f, worst, 1] >= 0:
                x[book.steps[f, worst, 1]] = 0.0
            ints[FLIPS] += 1
            if ints[FLIPS] > MOST_FLIPS:
                return CHATTER
            continue
        ints[FLIPS] = 0
        until = t_end
        if ints[BREAK] < len(breaks.t):
            until = min(until, breaks.t[ints[BREAK]])
        why = one_step(book, f, x, most, ints, floats, until, tape, parts)
        if why != DONE:
            return why
    return DONE


def apply_break(breaks: Breaks, ints: Indices, x: Floats) -> None:
    """Set the wave or the switch whose instant has come."""
    k = ints[BREAK]
    place = breaks.place[k]
    if place >= 0:
        x[place] = breaks.value[k]
        x[place + 1] = breaks.slope[k]
    else:
        bit = int(abs(breaks.value[k]))
        was = (ints[KEY] // bit) % 2 == 1
        if breaks.value[k] > 0.0 and not was:
            ints[KEY] += bit
        elif was and breaks.value[k] < 0.0:
            ints[KEY] -= bit
    ints[BREAK] = k + 1


def one_step(
    book: Book, f: int, x: Floats, most: Floats, ints: Indices, floats: Floats, until: float, tape: Tape, parts: Parts
) -> int:  # fmt: skip
    """Take one accepted step, up to the first event in it at most."""
    here = rates(book, f, x, parts)
    j = jacobian(book, f, x, here, parts)
    k = ints[WRITTEN]
    t = floats[TIME]
    if t - floats[WINDOW] > book.period:
        floats[WINDOW] = t
        ints[STEPS] = 0
    while True:
        ints[STEPS] += 1
        left = until - t
        h = min(floats[STEP], left)
        # A sliver at the end is worth no step of its own.
        if left - h < 0.1 * h:
            h = left
        if ints[STEPS] > MOST_STEPS or h <= 4e-16 * until:
            return STUCK
        error = try_step(book, f, x, h, j, here, parts, tape, k)
        size = 0.0
        for i in range(len(x)):
            scale = floats[ERROR] * max(most[i], abs(tape.end[k, i]))
            size = max(size, abs(error[i]) / scale)
        if not np.isfinite(size):
            size = 1e4
            if h < 1e-9 * book.period:
                return BROKEN
        factor = min(max(0.9 * max(size, 1e-12) ** -0.25, 0.1), 5.0)
        if size > 1.0:
            floats[STEP] = h * factor
            continue
        tape.t[k], tape.h[k], tape.key[k] = t, h, ints[KEY]
        share = first_event(book, f, tape, k, parts)
        for sample in range(SAMPLES):
            keep(book, f, tape, k, sample, parts)
        ints[WRITTEN] = k + 1
        if share < 1.0:
            x[:] = dense(tape, k, share)
            floats[TIME] = t + share * h
            floats[STEP] = max(share * h, 0.02 * h)
        else:
            x[:] = tape.end[k]
            floats[TIME] = until if h == left else t + h
            floats[STEP] = h * factor
        for i in range(len(x)):
            most[i] = max(most[i], abs(x[i]))
            if most[i] > BEYOND:
                return BROKEN
        return DONE


def keep(book: Book, f: int, tape: Tape, k: int, sample: int, parts: Parts) -> None:
    """Write down what the period is made of at one sample of a step."""
    count = shares(book, f, np.dot(book.u[f], dense(tape, k, sample / SAMPLES)), parts)
    for p in range(len(parts.share)):
        used = p < count
        tape.mode[k, sample, p] = parts.mode[p] if used else 0
        tape.share[k, sample, p] = parts.share[p] if used else 0.0
        tape.current[k, sample, p] = parts.current[p] if used else 0.0


def first_event(book: Book, f: int, tape: Tape, k: int, parts: Parts) -> float:
    """Return the share of a step at which a watched row has just fallen below zero; 1 if none has at its end."""
    worst, _ = violation(book, f, tape.end[k], parts)
    if worst < 0:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if violation(book, f, dense(tape, k, middle), parts)[0] >= 0:
            high = middle
        else:
            low = middle
        if (high - low) * tape.h[k] < 1e-6 * book.period:
            break
    return high
