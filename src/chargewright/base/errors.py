"""Everything that can go wrong and be told to the user.

    ChargewrightError
    ├── SpecError        the design file: all problems of a file at once, each a `Problem`
    ├── QuantityError    one value's text: what was found, what is accepted (the loader turns it into a Problem)
    ├── PartsError       a parts table or a cell table
    ├── OutOfRange       an argument outside the range in which a relation means anything
    ├── NoSolution       nothing meets the constraints: names the one that bound and by how much
    └── LogError         a measured log

Only the front doors catch. What "the inductor saturates" would be is no error but a finding (`base.findings`).
"""

from dataclasses import dataclass


class ChargewrightError(Exception):
    """Any error that a user can act on; its text is the message."""


class QuantityError(ChargewrightError):
    """A text that is not the quantity wanted."""

    def __init__(self, found: str, accepted: str) -> None:
        super().__init__(f"{found}; accepted: {accepted}")
        self.found = found
        self.accepted = accepted


class PartsError(ChargewrightError):
    """A table of parts, cells or registers that cannot be used; the text names file, row and column."""


class OutOfRange(ChargewrightError):
    """An argument outside the range in which a relation has a meaning."""


class NoSolution(ChargewrightError):
    """Nothing meets the constraints; the text names the constraint that bound and the amount missed."""


class LogError(ChargewrightError):
    """A measured log that cannot be used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong in the user's design file."""

    line: int
    """1-based line in the file; 0 where the problem has no line (a key that is missing altogether)."""
    key: str
    """Dotted path of the key, for example `sources[0].voltage`."""
    found: str
    """What stands there, as the user wrote it."""
    message: str
    """What is wrong and what is accepted."""
    cure: str = ""
    """What to do, if more can be said than the message says."""


class SpecError(ChargewrightError):
    """A design file that cannot be used: every problem found, in file order."""

    shown_at_most = 12

    def __init__(self, path: str, problems: list[Problem]) -> None:
        self.path = path
        self.problems = sorted(problems, key=lambda p: p.line)
        super().__init__(self._text())

    def _text(self) -> str:
        blocks = []
        for problem in self.problems[: self.shown_at_most]:
            where = f"{self.path}:{problem.line}" if problem.line else self.path
            found = f" = {problem.found}" if problem.found else ""
            lines = [f"{where}  {problem.key}{found}".rstrip(), f"    {problem.message}"]
            if problem.cure:
                lines.append(f"    {problem.cure}")
            blocks.append("\n".join(lines))
        more = len(self.problems) - self.shown_at_most
        if more > 0:
            blocks.append(f"... and {more} more problem{'s' if more > 1 else ''} of the same file")
        return "\n".join(blocks)
