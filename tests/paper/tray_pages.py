"""Tray sheets as pictures, straight from the typesetter, for tests that look at what is printed."""

from __future__ import annotations

from typing import cast

from tilestudy.paper import typeset
from tilestudy.paper.content import Paper
from tilestudy.paper.tray_sheet import TraySheets


def pictures(content: TraySheets, paper: Paper, ppi: float) -> list[bytes]:
    """Return each sheet as a PNG of so many pixels per inch."""
    compiler = typeset._compiler("tray.typ", typeset._plain(content), content.masthead, paper)
    found = compiler.compile(format="png", ppi=ppi)
    return cast("list[bytes]", found if isinstance(found, list) else [found])
