"""The timetable of a study's sessions."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import time
from typing import TYPE_CHECKING

from tilestudy.studio.planning import Planning

if TYPE_CHECKING:
    from tilestudy.design.sessions import Timetable


class Timing(Planning):
    """Says when everything happens."""

    def timetable(
        self,
        name: str,
        sessions: Collection[int] = (),
        *,
        hands: int | None = None,
        start: time | None = None,
        whole: bool = False,
    ) -> Timetable:
        """Lay out by the clock what is left to make of a study.

        Parameters
        ----------
        name : str
        sessions : collection of int
            Only these.
        hands : int, optional
            Pairs of hands; else what the study file says.
        start : time, optional
            Of day; else what the study file says.
        whole : bool
            All of the plan, tiles made already too.

        Raises
        ------
        NotEnoughError
            When there is no plan, or nothing is left to make.
        """
        from tilestudy.design.sessions.build import timetable

        study, plan = self.planned(name)
        clock = self._clock(study)
        return timetable(
            study,
            plan,
            clock if hands is None else replace(clock, hands=hands),
            self._noise(study),
            word=self.word(study),
            made=() if whole else self._records(name)[0],
            start=start or study.workplace.hours.start,
            only=sessions,
        )
