"""What the parser of YAML says about broken text, in words that help the writer of a design file."""

from dataclasses import dataclass
from typing import Any

from chargewright.base.errors import Problem


@dataclass(frozen=True, slots=True)
class _Slip:
    sign: str
    """Words of the parser by which the slip is known."""
    message: str
    cure: str
    from_start: bool = False
    """Whether the line to look at is where the broken thing begins, not where the parser gave up."""


_DIRECTIVE = "A line with % starts the file; a design file needs none."
_SLIPS = (
    _Slip(
        "'\\t' that cannot start",
        "A tab stands in the indentation; only spaces count there.",
        "Replace the tab by two spaces for each level.",
    ),
    _Slip(
        "mapping values are not allowed",
        "A colon stands where no key can be: the line is indented too far, or the one above lacks its colon.",
        "Put a text that contains ': ' in quotes, and a space after the colon of a key.",
    ),
    _Slip("mapping keys are not allowed", "A question mark stands where no key can be.", "Put the text in quotes."),
    _Slip(
        "sequence entries are not allowed",
        "A dash starts a list where none can be.",
        "Start the list in a line of its own, below its key.",
    ),
    _Slip(
        "could not find expected ':'",
        "A key without its colon stands here.",
        "Write 'key: value', with a space after the colon.",
        from_start=True,
    ),
    _Slip(
        "that cannot start any token",
        "The value starts with a sign that has a meaning of its own in YAML.",
        "Put the value in quotes.",
    ),
    _Slip(
        "unknown escape character",
        "A backslash in double quotes is not followed by a known letter.",
        "Use single quotes.",
    ),
    _Slip(
        "while scanning a quoted scalar",
        "The quotes that open here are never closed.",
        "Close them in the same line.",
        from_start=True,
    ),
    _Slip(
        "expected ',' or ']'",
        "A list that opens with '[' is not closed before the next key.",
        "Close it with ']'.",
        from_start=True,
    ),
    _Slip(
        "expected ',' or '}'",
        "A group that opens with '{' is not closed before the next key.",
        "Close it with '}'.",
        from_start=True,
    ),
    _Slip(
        "expected the node content",
        "A bracket or comma stands where a value is due.",
        "Put the value in quotes if the sign belongs to it.",
    ),
    _Slip(
        "expected <block end>",
        "This line fits neither the keys above it nor the group around it.",
        "Give all keys of one group the same indentation; begin each item of a list with '- '.",
    ),
    _Slip("directive", _DIRECTIVE, "Delete that line."),
    _Slip("YAML document", _DIRECTIVE, "Delete that line."),
)
_UNKNOWN = _Slip(
    "",
    "The text here is not valid YAML.",
    "Look at the indentation, colons and quotes of this line and the one above.",
)


def directive_problem(line: int) -> Problem:
    """Return the problem of a line that would steer the parser."""
    return Problem(line=line, key="", found="", message=_DIRECTIVE, cure="Delete that line.")


def syntax_problem(error: Exception, last: Any) -> Problem:
    """Return what the parser stumbled over and the line to look at; `last` is the last sound event, if any."""
    words: Any = error
    said = f"{getattr(words, 'context', None)}: {getattr(words, 'problem', None)}"
    slip = next((s for s in _SLIPS if s.sign in said), _UNKNOWN)
    mark = getattr(words, "context_mark" if slip.from_start else "problem_mark", None)
    if getattr(last, "style", None) in ("'", '"') and last.start_mark.line < last.end_mark.line:
        closed = last.end_mark.line + 1
        slip = _Slip("", f"The quotes that open here close only in line {closed}.", "Close them in the same line.")
        mark = last.start_mark
    if mark is None:  # the parser broke without saying where: right after what it read last
        mark = getattr(last, "end_mark", None)
    line = mark.line + 1 if mark else 0
    return Problem(line=line, key="", found="", message=slip.message, cure=slip.cure)
