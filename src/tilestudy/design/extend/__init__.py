"""More tiles for a study that has a plan: one module for each kind of addition, `grow` puts them behind the plan.

`request` says what may be asked for, `room` what the limits leave, `bought` what the tiles buy.
"""

from tilestudy.design.extend.bought import bought
from tilestudy.design.extend.bought_near import bought_near
from tilestudy.design.extend.centre import middle_of
from tilestudy.design.extend.grow import extend, marks, usable
from tilestudy.design.extend.request import Extension, Request, asked

__all__ = ["Extension", "Request", "asked", "bought", "bought_near", "extend", "marks", "middle_of", "usable"]
