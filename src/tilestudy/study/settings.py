"""The studio's own settings: what is on top of its pages, its paper, and the order in which it writes dates."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import Literal, cast

from tilestudy.errors import Fault, FaultyFileError

DateOrder = Literal["day first", "month first"]

TEXT = """# The studio's settings. Delete a # to use a line.
# studio = "Our workshop"            # printed on every page
# paper = "a4"                       # or "us-letter"
# date_order = "day first"           # or "month first": how 3/4/2026 is read; without it such a date is refused
"""


@dataclass(frozen=True)
class StudioSettings:
    """Name on the pages, paper size, and how an all-number date is read (None: such a date is refused)."""

    studio: str = ""
    paper: Literal["a4", "us-letter"] = "a4"
    date_order: DateOrder | None = None


def read_settings(text: str, file: str) -> StudioSettings:
    """Read studio.toml; raises FaultyFileError with every fault.

    >>> read_settings('date_order = "day first"', "studio.toml").date_order
    'day first'
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FaultyFileError(
            [Fault(file, None, f"not readable as TOML: {error}.")], after="It was not read."
        ) from error
    allowed = {"studio": None, "paper": ("a4", "us-letter"), "date_order": ("day first", "month first")}
    faults = []
    for key, value in data.items():
        options = allowed.get(key, ())
        if key not in allowed:
            faults.append(Fault(file, None, f'the key "{key}" is not known. Known: {", ".join(allowed)}.'))
        elif not isinstance(value, str) or (options is not None and value not in options):
            choices = " or ".join(f'"{one}"' for one in options or ("text in quotes",))
            faults.append(Fault(file, None, f"{key} = {value!r} should be {choices}."))
    if faults:
        raise FaultyFileError(faults, after="It was not read.")
    return StudioSettings(
        data.get("studio", ""),
        cast(Literal["a4", "us-letter"], data.get("paper", "a4")),
        cast("DateOrder | None", data.get("date_order")),
    )
