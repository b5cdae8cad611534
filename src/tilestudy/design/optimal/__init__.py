"""Optimal plans: the most telling tiles for a stated model, over batches and sessions, within what the bench can do.

`problem` says what is asked, `model` turns it into columns and exact averages, `exchange` improves all random starts in
lock step, `search` runs it; `bound` says what no plan could better. Pure numpy; randomness comes in as a
`numpy.random.Generator`.
"""

from tilestudy.design.optimal.bound import Bound, bound
from tilestudy.design.optimal.problem import Forbidden, MadeTile, Problem, Term
from tilestudy.design.optimal.search import OptimalPlan, appraise_settings, optimise

__all__ = ["Bound", "Forbidden", "MadeTile", "OptimalPlan", "Problem", "Term", "appraise_settings", "bound", "optimise"]
