"""What may be asked for, and what comes of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from tilestudy.errors import WrongRequestError
from tilestudy.study.records import Batch, Plan, Setting, Tile

Kind = Literal["batches", "mirror", "middle", "ends", "repair", "tiles", "next", "confirm"]


@dataclass(frozen=True)
class Request:
    """What to add.

    Attributes
    ----------
    kind : str
        "tiles" are the most telling over the whole range, "next" those about the settings `near` and the terms `unsure`,
        "confirm" all at the one setting `near`.
    batches, tiles : int or None
        How many; None: not said.
    batch : str
        The batch to make again.
    near : tuple of mapping of str to float or str
        Settings that a choice lies between, each naming every factor.
    unsure : tuple of str
        Terms not told apart yet: "strength", "dip_time (bend)", "strength x dip_time".
    look : bool
        True when nothing is to be added, only told.
    """

    kind: Kind
    batches: int | None = None
    tiles: int | None = None
    batch: str = ""
    near: tuple[Mapping[str, Setting], ...] = ()
    unsure: tuple[str, ...] = ()
    look: bool = False


@dataclass(frozen=True)
class Extension:
    """What is added to a plan.

    `batches` and `tiles` are new, `says` what they are in sentences, `replaced` the new code of each tile made again,
    `seed` made the order.
    """

    batches: tuple[Batch, ...]
    tiles: tuple[Tile, ...]
    seed: int
    says: tuple[str, ...]
    replaced: Mapping[str, str] = field(default_factory=dict)

    def grown(self, plan: Plan) -> Plan:
        """Return the plan with what is added at its end."""
        return replace(plan, batches=(*plan.batches, *self.batches), tiles=(*plan.tiles, *self.tiles))


def asked(
    *,
    batches: int | None = None,
    mirror: bool = False,
    middle: bool = False,
    ends: bool = False,
    repair: str = "",
    tiles: int | None = None,
) -> Request:
    """Return the one request among these; raises WrongRequestError for none, several, or numbers below 1.

    >>> asked(tiles=8, batches=2)
    Request(kind='tiles', batches=2, tiles=8, batch='', near=(), unsure=(), look=False)
    """
    asked = [f"--{name}" for name, on in (("mirror", mirror), ("middle", middle), ("ends", ends)) if on]
    asked += ["--repair"] if repair else []
    asked += ["--tiles"] if tiles is not None else ["--batches"] if batches is not None else []
    kinds = "--batches N, --mirror, --middle, --ends, --repair BATCH or --tiles N (with --batches B if you like)"
    if len(asked) != 1 or (asked != ["--tiles"] and asked != ["--batches"] and batches is not None):
        given = [*asked, *(["--batches"] if batches is not None and "--batches" not in asked else [])]
        what = f"{' and '.join(given)} were given together" if given else "Nothing to add was named"
        raise WrongRequestError(f"{what}. Give one of {kinds}.")
    for option, number in (("--batches", batches), ("--tiles", tiles)):
        if number is not None and number < 1:
            raise WrongRequestError(f"{option} {number} adds nothing. Give 1 or more.")
    kind: Kind = asked[0].removeprefix("--")  # type: ignore[assignment]  # one of the six by the lines above
    return Request(kind, batches, tiles, repair)
