"""How the baths of a study are mixed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tilestudy.errors import HazardError, WrongRequestError
from tilestudy.studio.preparing import Preparing

if TYPE_CHECKING:
    from tilestudy.trade.amounts import Mixing


class Mixes(Preparing):
    """Says what goes into every bath, and what to buy."""

    def mixing(self, name: str, session: int | None = None) -> Mixing:
        """Work out the baths of a study's plan, or of one session of it, with what the studio measures with.

        Raises NotEnoughError without a plan, HazardError while the hazard check blocks, WrongRequestError for a session that
        the plan does not have.
        """
        from tilestudy.trade.amounts import mixing

        study, plan = self.planned(name)
        if blocking := self.hazards(name).blocking:
            stands = "\n".join(f"  {one.id}: {one.says}" for one in blocking)
            raise HazardError(
                f"What goes into the batches of {name} is not told while a hazard stands:\n{stands}\nType "
                f'"tilestudy hazards {name}": it says what to do.'
            )
        found = mixing(study, plan, self.library, self.settings().at_hand)
        if session is None:
            return found
        there = sorted({one.session for one in found.batches})
        if session not in there:
            raise WrongRequestError(
                f"Study {name} has no session {session}. It has: {', '.join(map(str, there)) or 'none'}."
            )
        return found.session(session)
