"""What the parser of YAML says about broken text, in words that help the writer of a design file."""

from typing import Any

from chargewright.base.errors import Problem

_WORDS = (
    (
        "'\\t' that cannot start",
        "A tab stands in the indentation; only spaces count there.",
        "Replace the tab by two spaces for each level.",
    ),
    (
        "mapping values are not allowed",
        "A colon stands where no key can be: the line is indented too far, or the one above lacks its colon.",
        "Put a text that contains ': ' in quotes, and a space after the colon of a key.",
    ),
    (
        "mapping keys are not allowed",
        "A question mark stands where no key can be.",
        "Put the text in quotes.",
    ),
    (
        "sequence entries are not allowed",
        "A dash starts a list where none can be.",
        "Start the list in a line of its own, below its key.",
    ),
    (
        "could not find expected ':'",
        "A key without its colon stands here.",
        "Write 'key: value', with a space after the colon.",
    ),
    (
        "that cannot start any token",
        "The value starts with a sign that has a meaning of its own in YAML.",
        "Put the value in quotes.",
    ),
    (
        "unknown escape character",
        "A backslash in double quotes is not followed by a known letter.",
        "Use single quotes.",
    ),
    ("while scanning a quoted scalar", "The quotes that open here are never closed.", "Close them in the same line."),
    ("expected ',' or ']'", "A list that opens with '[' is not closed before the next key.", "Close it with ']'."),
    ("expected ',' or '}'", "A group that opens with '{' is not closed before the next key.", "Close it with '}'."),
    (
        "expected the node content",
        "A bracket or comma stands where a value is due.",
        "Put the value in quotes if the sign belongs to it.",
    ),
    (
        "expected <block end>",
        "This line fits neither the keys above it nor the group around it.",
        "Give all keys of one group the same indentation; begin each item of a list with '- '.",
    ),
    ("while scanning a directive", "A line with % starts the file; a design file needs none.", "Delete that line."),
    ("directive", "A line with % starts the file; a design file needs none.", "Delete that line."),
    ("YAML document", "A line with % starts the file; a design file needs none.", "Delete that line."),
)


def syntax_problem(error: Exception) -> Problem:
    """Return what the parser stumbled over, with the line."""
    words: Any = error
    problem = getattr(words, "problem", None) or ""
    context = getattr(words, "context", None) or ""
    mark = getattr(words, "problem_mark", None)
    if "never closed" in (message := _said(f"{context}: {problem}"))[0]:
        mark = getattr(words, "context_mark", None) or mark
    return Problem(line=mark.line + 1 if mark else 0, key="", found="", message=message[0], cure=message[1])


def _said(problem: str) -> tuple[str, str]:
    for sign, message, cure in _WORDS:
        if sign in problem:
            return message, cure
    return (
        "The text here is not valid YAML.",
        "Look at the indentation, colons and quotes of this line and the one above.",
    )
