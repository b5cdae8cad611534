"""How far a longer step has come: who does the work tells, who watches shows."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float], None]
"""Told the share of a longer step that is done, 0 to 1."""


def no_progress(share: float) -> None:
    """Tell nobody."""
