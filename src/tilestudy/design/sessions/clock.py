"""Minutes of the bench: what a process takes, and how many hands there are."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Clock:
    """What a session is made of; minutes unless said.

    Attributes
    ----------
    setup, clear : float
        Setting up before the first batch, clearing up after the last tile; all hands.
    batch : float
        Making up a fresh bath, or heating up for a load.
    tile : float
        Hands for a tile once: dried, laid beside its code, written down.
    cycle : float
        Hands for each time in: put in, take out, rinse, scrub; its dip or dwell not counted.
    cool : float
        A tile waits so long before it can be touched.
    together : int
        Tiles that may be in at once; 0 for as many as a batch has.
    heats : bool
        True where a batch is an oven or kiln that heats up by itself, one load at a time.
    life : float or None
        A fresh batch is good for so long.
    hands : int
        Pairs of hands.
    """

    setup: float
    clear: float
    batch: float
    tile: float
    cycle: float = 0.0
    cool: float = 0.0
    together: int = 0
    heats: bool = False
    life: float | None = None
    hands: int = 1

    @property
    def around(self) -> float:
        """Minutes of a session beside its batches; the first load of an oven heats while all set up.

        >>> Clock(45, 15, 15, 2, heats=True).around
        45
        """
        return self.setup + self.clear - (min(self.batch, self.setup) if self.heats else 0)
