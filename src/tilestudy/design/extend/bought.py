"""What added tiles buy, in sentences."""

from __future__ import annotations

from tilestudy.design.appraise import Appraisal
from tilestudy.study.language import capital, listed
from tilestudy.study.records import Study
from tilestudy.study.units import plain_number


def bought(study: Study, before: Appraisal | None, after: Appraisal) -> list[str]:
    """Say what the added tiles buy: the smallest change likely seen of each factor, before and after."""
    noise = after.noise
    had = {one.factor: one.smallest for one in before.factors} if before is not None else {}

    def amount(value: float) -> str:
        unit = noise.unit if noise.of else "times the difference between tiles made alike"
        return f"{plain_number(value, 2)} {unit}".rstrip()

    said, same = [], []
    for one in after.factors:
        label = study.factor(one.factor).label
        old = had.get(one.factor)
        if one.smallest is None:
            said.append(
                f"{capital(label)}: {'no longer' if old is not None else 'still not'} to be told with these tiles."
            )
        elif old is None:
            said.append(
                f"{capital(label)}: could not be told before; now a change of {amount(one.smallest)} or more would likely be seen."
            )
        elif plain_number(old, 2) == plain_number(one.smallest, 2):
            same.append(label)
        else:
            said.append(
                f"{capital(label)}: the smallest change likely seen (in 80 of 100 such studies) goes from {amount(old)} to "
                f"{amount(one.smallest)}."
            )
    if same:
        said.append(f"{capital(listed(same))}: the smallest change likely seen stays as it was.")
    return said
