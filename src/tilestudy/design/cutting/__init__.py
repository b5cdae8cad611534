"""From sheets and offcuts to tiles: which cuts in which order, which tile from where, what it weighs and costs. Lengths in mm."""

from tilestudy.design.cutting.plan import EXAMPLE, CutPlan, CutSheet, lay_on_sheets, room_on
from tilestudy.design.cutting.stamp import Stamp, stamp_list

__all__ = ["EXAMPLE", "CutPlan", "CutSheet", "Stamp", "lay_on_sheets", "room_on", "stamp_list"]
