"""Sign-offs: a person answers for a blocking finding, with initials and a reason. Some findings nobody may sign off."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import replace

from tilestudy.study.language import listed
from tilestudy.study.workplace import SignOff
from tilestudy.trade.hazards.finding import Hazard


def signed(findings: Sequence[Hazard], sign_offs: Iterable[SignOff], rules: Iterable[str]) -> tuple[Hazard, ...]:
    """Return the findings with those signed off marked so, and a warning for every sign-off that counts for nothing."""
    found, said = list(findings), list[Hazard]()
    known = sorted(set(rules))
    for one in sign_offs:
        places = [index for index, finding in enumerate(found) if finding.id == one.rule]
        open_ = [index for index in places if found[index].level != "warn"]
        if one.rule not in known and not places:
            near = difflib.get_close_matches(one.rule, known, n=1)
            hint = f'Did you mean "{near[0]}"?' if near else f"Rules: {', '.join(known)}."
            said.append(_note(one, f"there is no such rule. {hint}"))
        elif not places:
            said.append(
                _note(one, "nothing trips that rule now; take the sign-off out, or it will hide what comes later")
            )
        elif not open_:
            said.append(_note(one, "it is only a warning, which needs no sign-off"))
        elif cannot := [found[index] for index in open_ if not found[index].may_sign]:
            why = cannot[0].why_not or "it cannot be signed off by anybody"
            said.append(_note(one, f"{why}; it goes on blocking"))
        for index in open_:
            if found[index].may_sign:
                before = [found[index].by] if found[index].by else []
                reasons = [found[index].reason] if found[index].reason else []
                found[index] = replace(
                    found[index], level="signed", by=listed([*before, one.by]), reason="; ".join([*reasons, one.reason])
                )
    return (*found, *said)


def _note(one: SignOff, why: str) -> Hazard:
    return Hazard(
        "sign-off",
        "warn",
        f'The sign-off of "{one.rule}" by {one.by} counts for nothing: {why.rstrip(".")}.',
        "",
        "",
        "Sign-off",
    )
