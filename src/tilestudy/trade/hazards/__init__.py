"""The hazard check: the rules of hazards.toml held against what is really there.

`things` knows names and classes; `bench` reads the bath, steps, places, tools and vessels of a study; `meetings` finds where two things meet; `rules` holds
each rule against that; `gas` reckons the worst case in the air; `signing` reads the sign-offs.
"""

from __future__ import annotations

from tilestudy.trade.hazards.check import check
from tilestudy.trade.hazards.finding import Hazard, Question
from tilestudy.trade.hazards.gas import Gas, gases
from tilestudy.trade.hazards.questions import unanswered

__all__ = ["Gas", "Hazard", "Question", "check", "gases", "unanswered"]
