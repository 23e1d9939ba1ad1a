"""The nearest of a list of known words, for messages that help."""

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word`, or None if none is near; case and -/_ count little."""
    by_plain = {k.lower().replace("_", "-"): k for k in known}
    found = get_close_matches(word.lower().replace("_", "-")[:80], by_plain, n=1, cutoff=0.6)
    return by_plain[found[0]] if found else None


def hint_of(word: str, known: Iterable[str]) -> str:
    """Return what may have been meant, or what there is where nothing is near."""
    names = list(known)
    close = nearest(word, names)
    return f"did you mean {close!r}?" if close else f"there are {', '.join(names)}"
