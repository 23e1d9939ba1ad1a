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
from textwrap import wrap


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
    """A design file that cannot be used: every problem found, in file order; the text shows what fits one screen."""

    shown_at_most = 12
    lines_at_most = 38
    columns = 120

    def __init__(self, path: str, problems: list[Problem]) -> None:
        self.path = path
        self.problems = sorted(problems, key=lambda p: p.line)
        super().__init__(self._text())

    def _text(self) -> str:
        lines: list[str] = []
        shown = 0
        for problem in self.problems[: self.shown_at_most]:
            block = self._block(problem)
            if lines and len(lines) + len(block) > self.lines_at_most:
                break
            lines += block
            shown += 1
        more = len(self.problems) - shown
        if more > 0:
            lines.append(f"... and {more} more problem{'s' if more > 1 else ''} of the same file")
        return "\n".join(lines)

    def _block(self, problem: Problem) -> list[str]:
        where = f"{self.path}:{problem.line}" if problem.line else self.path
        found = f" = {problem.found}" if problem.found else ""
        what = f"{problem.key}{found}"
        head = [f"{where}  {what}".rstrip()]
        if len(head[0]) > self.columns and what:
            head = [where, *self._wrapped(what)]
        return [*head, *self._wrapped(problem.message), *self._wrapped(problem.cure)]

    def _wrapped(self, text: str) -> list[str]:
        return wrap(text, self.columns, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)
