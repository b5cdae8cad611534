"""The study book: one SQLite file that holds what was planned and what was recorded.

The only room with SQL. It knows the records of `tilestudy.study` and nothing of screens, paper or statistics; the time
comes in as an argument. Readings are never edited: a correction is a new row that supersedes the old one.
"""

from tilestudy.store.book import Outcome, PlanSaved, StudyBook

__all__ = ["Outcome", "PlanSaved", "StudyBook"]
