"""How much of what goes into a batch, measured with what is at hand."""

from __future__ import annotations

from tilestudy.trade.amounts.household import lumps_text
from tilestudy.trade.amounts.lines import Line
from tilestudy.trade.amounts.mixing import Mix, Mixing, amounts, mixing
from tilestudy.trade.amounts.volume import Volume

__all__ = ["Line", "Mix", "Mixing", "Volume", "amounts", "lumps_text", "mixing"]
