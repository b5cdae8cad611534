"""The studio's own settings: what is on top of its pages, its paper, how it writes dates, what it measures with."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, cast

from tilestudy.errors import Fault, FaultyFileError
from tilestudy.study.at_hand import TEXT as MEASURES_TEXT
from tilestudy.study.at_hand import AtHand, read_at_hand
from tilestudy.study.label_sheet import ADDRESS_TEXT, LabelKind, LabelSheet, read_address, read_label_sheets
from tilestudy.study.label_sheet import TEXT as LABELS_TEXT

DateOrder = Literal["day first", "month first"]

TEXT = f"""# The studio's settings. Delete a # to use a line.
# studio = "Our workshop"            # printed on every page
# paper = "a4"                       # or "us-letter"
# date_order = "day first"           # or "month first": how 3/4/2026 is read; without it such a date is refused
{ADDRESS_TEXT}{MEASURES_TEXT}{LABELS_TEXT}"""


@dataclass(frozen=True)
class StudioSettings:
    """Name on the pages, paper size, how an all-number date is read (None: such a date is refused), what is at hand.

    `bench_address` is where the bench page runs ("" unless told); `labels` the sheet of labels for each kind, "" for all
    others.
    """

    studio: str = ""
    paper: Literal["a4", "us-letter"] = "a4"
    date_order: DateOrder | None = None
    at_hand: AtHand = field(default_factory=AtHand)
    bench_address: str = ""
    labels: Mapping[LabelKind | Literal[""], LabelSheet] = field(default_factory=dict)


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
    tables = ("measures", "bottles")
    at_hand, faults = read_at_hand(data.pop("measures", {}), data.pop("bottles", {}), file)
    paper = "us-letter" if data.get("paper") == "us-letter" else "a4"
    labels, wrong = read_label_sheets(data.pop("labels", {}), text, file, paper)
    address, unreadable = read_address(data.pop("bench_address"), text, file) if "bench_address" in data else ("", [])
    faults += [*wrong, *unreadable]
    for key, value in data.items():
        options = allowed.get(key, ())
        if key not in allowed:
            faults.append(
                Fault(
                    file,
                    None,
                    f'the key "{key}" is not known. Known: {", ".join((*allowed, "bench_address", *tables, "labels"))}.',
                )
            )
        elif not isinstance(value, str) or (options is not None and value not in options):
            choices = " or ".join(f'"{one}"' for one in options or ("text in quotes",))
            faults.append(Fault(file, None, f"{key} = {value!r} should be {choices}."))
    if faults:
        raise FaultyFileError(faults, after="It was not read.")
    return StudioSettings(
        data.get("studio", ""),
        cast(Literal["a4", "us-letter"], data.get("paper", "a4")),
        cast("DateOrder | None", data.get("date_order")),
        at_hand,
        address,
        labels,
    )
