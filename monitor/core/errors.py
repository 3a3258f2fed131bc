"""The program's own errors, by who can put them right. The command line turns these into exit statuses (contract: 0 to 3).

`InputWrong` (exit 2): what the person typed, a file or a recipe; every problem is listed. `NotThere` (exit 3): a probe, pin,
station or broker is absent. Anything else that escapes is the program's own fault (exit 1).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a file: where, what was read, what is allowed. `line` is 1-based."""

    file: str
    line: int
    what: str
    allowed: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.what}; {self.allowed}"


class EvenbathError(Exception):
    """Base of every error that this program raises on purpose. `lines` is what the person reads, line by line."""

    exit_status = 1

    def __init__(self, *lines: str) -> None:
        self.lines = lines
        super().__init__("\n".join(lines))


class InputWrong(EvenbathError, ValueError):
    """The usage, configuration, recipe or file is wrong. Exit status 2."""

    exit_status = 2


class FileWrong(InputWrong):
    """A file has problems: all of them, each with file and line. Exit status 2."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(*(str(p) for p in self.problems))


class KeptWrong(InputWrong):
    """A file that we keep cannot be used at all: it cannot be opened, or what stands in its place is not ours. Exit status 2."""

    exit_status = 2


class NotThere(EvenbathError, LookupError):
    """Hardware, a station or (for `record`) a broker is not there. Exit status 3."""

    exit_status = 3
