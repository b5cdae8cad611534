"""What is there before a session: the hazard check."""

from __future__ import annotations

from tilestudy.studio.folder import Folder
from tilestudy.trade.hazards.report import HazardReport, report


class Preparing(Folder):
    """Checks the bench of a study."""

    def hazards(self, name: str) -> HazardReport:
        """Hold the hazard rules against a study, its workplace and its records; it need not be planned yet.

        Raises WrongRequestError for an unknown study, FaultyFileError for a study file with faults.
        """
        study = self.study(name)
        made, logs, *_ = self._records(name)
        with self.book() as book:
            plan = book.plan(name)
        now = self.now().astimezone().replace(tzinfo=None)
        return report(study, self.library, logs, made, now, plan)
