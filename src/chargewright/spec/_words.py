"""Texts between the file and people: how a message shows what the user wrote, and how a file has to write a text."""

import json
import re

NOTHING = ("", "~", "null", "Null", "NULL")
TRUE, FALSE = ("true", "True", "TRUE"), ("false", "False", "FALSE")

_NUMBER = re.compile(
    r"[+-]?(?:[0-9][0-9_]*\.?[0-9_]*|\.[0-9_]+)(?:e[+-]?[0-9]+)?|0[xob][0-9a-f]+|[+-]?\.inf|\.nan", re.IGNORECASE
)
_DATE = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[Tt ].*)?")
_PLAIN = re.compile(r"[\w(.°±/+-][^\n]*")


def reads_as(text: str) -> str:
    """Return what other readers of YAML would take a text without quotes for: "a number"; nothing if for a text."""
    if text in NOTHING:
        return "nothing"
    if text in TRUE or text in FALSE:
        return "true or false"
    return "a date" if _DATE.fullmatch(text) else "a number" if _NUMBER.fullmatch(text) else ""


def as_yaml(text: str) -> str:
    """Return how a design file writes a text that stands alone on the right of its key: in quotes where needed."""
    risky = (
        bool(reads_as(text))
        or not _PLAIN.fullmatch(text)
        or text != text.strip()
        or (text[0] in "-+." and not text[1:2].isalnum())
        or any(sign in text for sign in (": ", " #"))
        or text.endswith(":")
        or not text.isprintable()
    )
    return json.dumps(text, ensure_ascii=not text.isprintable()) if risky else text


def visible(text: str, length: int = 60) -> str:
    """Return `text` cut to `length`, with a code such as <U+202E> for each invisible character."""
    cut = text if len(text) <= length else text[: length - 3] + "..."
    return "".join(c if c.isprintable() else "\\n" if c == "\n" else f"<U+{ord(c):04X}>" for c in cut)[: 2 * length]


def quoted(text: str) -> str:
    """Return `text` as `visible` shows it, in double quotes as a file would have it."""
    cut = text if len(text) <= 60 else text[:57] + "..."
    parts = (json.dumps(c, ensure_ascii=False)[1:-1] if c.isprintable() else visible(c) for c in cut)
    return f'"{"".join(parts)[:120]}"'
