"""The errors, as one small tree.

Each message says what happened with the value and place, why it matters, and what to type next.
The command line turns `WrongRequestError` (and its kin) into exit 2 and every other `TilestudyError` into exit 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class TilestudyError(Exception):
    """Anything tilestudy could not do. Exit code 1."""

    exit_code = 1


class WrongRequestError(TilestudyError):
    """The request itself cannot be understood: an unknown study, process, option value. Exit code 2."""

    exit_code = 2


class UnitError(WrongRequestError):
    """A quantity or unit that cannot be read."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a file.

    Attributes
    ----------
    file : str
        Name as the user knows it.
    line : int or None
        1-based line in that file; None when the fault has no single line (a missing column).
    what : str
        What is wrong, with the value, and what to do: one or two sentences.
    """

    file: str
    line: int | None
    what: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{place}: {self.what}"


class FaultyFileError(WrongRequestError):
    """One or more files have faults; all of them are listed, nothing was stored.

    The same fault on several lines of a file is told once, with all its lines.
    """

    def __init__(self, faults: Iterable[Fault], after: str = "Nothing was stored.") -> None:
        self.faults: Sequence[Fault] = tuple(faults)
        many = f"{len(self.faults)} faults" if len(self.faults) != 1 else "1 fault"
        lines = "\n".join(f"  {line}" for line in told(self.faults))
        super().__init__(f"{many} found. {after}\n{lines}")


def told(faults: Sequence[Fault]) -> list[str]:
    """Return the faults a line each, the same fault of a file once for all its lines.

    >>> told([Fault("a.csv", 2, "no date."), Fault("a.csv", 3, "no date."), Fault("a.csv", 7, "no date.")])
    ['a.csv, lines 2 to 3 and 7: no date.']
    """
    together: dict[tuple[str, str], list[int]] = {}
    for fault in faults:
        together.setdefault((fault.file, fault.what), []).append(-1 if fault.line is None else fault.line)
    found = []
    for (file, what), lines in together.items():
        if lines == [-1] or len(lines) == 1:
            found.append(str(Fault(file, None if lines[0] < 0 else lines[0], what)))
        else:
            found.append(f"{file}, lines {_spans(sorted(set(lines)))}: {what}")
    return [
        "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in line) for line in found
    ]


def _spans(lines: Sequence[int]) -> str:
    spans: list[list[int]] = []
    for line in lines:
        if spans and line == spans[-1][1] + 1:
            spans[-1][1] = line
        else:
            spans.append([line, line])
    parts = [str(low) if low == high else f"{low} to {high}" for low, high in spans]
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


class PlanError(TilestudyError):
    """The plan asked for cannot be made from these levels and limits."""


class HazardError(TilestudyError):
    """A blocking hazard stands; nothing is printed until it is resolved."""


class NotEnoughError(TilestudyError):
    """The records do not yet hold what the step needs."""


class BookError(TilestudyError):
    """The study book cannot be opened, read or written."""


class PhotoError(TilestudyError):
    """A photo that cannot be measured; nothing was stored.

    Attributes
    ----------
    picture : str
        Name of the file.
    faults : tuple of str
        What is wrong and what to do, a sentence or two each.
    """

    def __init__(self, picture: str, faults: str | Iterable[str]) -> None:
        self.picture = picture
        self.faults = (faults,) if isinstance(faults, str) else tuple(faults)
        super().__init__("\n".join(f"{picture}: {fault}" for fault in self.faults))


class WrongTrayError(PhotoError):
    """A photo of a tray that is none of those asked for.

    Attributes
    ----------
    tray : int
        Number of the tray whose markers were seen, 1 to 250; trays 250 apart carry the same markers.
    """

    def __init__(self, picture: str, faults: str | Iterable[str], tray: int) -> None:
        self.tray = tray
        super().__init__(picture, faults)
