"""Which share of a period each mode of the averaged circuit has, from the duty and from where the coil's current stops.

Two kinds of stretch end a current: a stretch in which only diodes carry it (discontinuous conduction: the share follows
from the mean coil current, as J. Sun, D. M. Mitchell, M. F. Greuel, P. T. Krein, R. M. Bass, "Averaged modeling of PWM
converters operating in discontinuous conduction mode", IEEE Trans. Power Electronics 16(4), 2001, from memory), and a
dead time that begins with little current.
"""

from chargewright.base.compiled import apart
from chargewright.circuit._averaged_book import COIL, IDLE, MAIN, MINUS, OPEN, OTHER, PLUS, Book, Floats, Parts

FADE = 0.01
"""Duty above none, or short of one, within which the dead time fades: a pulse that never begins or ends has none."""


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
        gain = book.u[f, book.coil, leg]
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


@apart
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


@apart
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
