"""The grey scale for staining drawn for a screen: for each step a clean patch and a stained one, side by side.

Source: ISO 105-A03:1993, the CIELAB difference of the two patches of each step. The clean patch is L* 96.5, about that of white
cotton, and both are neutral, so their difference is one of L* alone. A screen has 256 greys, about 0.35 L* apart here: each step
is drawn to within 0.15 L*. What a screen then makes of them depends on the screen, so this reminds and does not replace the scale.
"""

from __future__ import annotations

from dataclasses import dataclass

from tilestudy.colour.grades import STAINING_STEPS, written
from tilestudy.colour.srgb import lab_to_hex

CLEAN = 96.5
"""L* of the clean patch; #f5f5f5 on a screen."""

KEYS = {5.0: "5", 4.5: "9", 4.0: "4", 3.5: "8", 3.0: "3", 2.5: "7", 2.0: "2", 1.5: "6", 1.0: "1"}
"""The key of each grade: a whole grade its own digit, the halves 6 (1-2) to 9 (4-5)."""


@dataclass(frozen=True)
class Step:
    """One step: its grade, that as it is written ("4-5"), in words, its key, and the picture of its two patches (SVG)."""

    grade: float
    written: str
    words: str
    key: str
    svg: str


def step_colours(grade: float) -> tuple[str, str]:
    """Return the sRGB colours of the clean and the stained patch of a step; raises KeyError for no half grade from 1 to 5.

    >>> step_colours(5.0), step_colours(3.0)
    (('#f5f5f5', '#f5f5f5'), ('#f5f5f5', '#dddddd'))
    """
    return lab_to_hex([CLEAN, 0, 0]), lab_to_hex([CLEAN - STAINING_STEPS[grade], 0, 0])


def step_svg(grade: float) -> str:
    """Return the two patches of a step as SVG, touching, clean on the left; it fills the width it is given.

    >>> step_svg(1.0).count("<rect")
    2
    """
    clean, stained = step_colours(grade)
    return (
        '<svg class="step" viewBox="0 0 80 30" preserveAspectRatio="none" aria-hidden="true" focusable="false" '
        'shape-rendering="crispEdges">'
        f'<rect width="40" height="30" fill="{clean}"/><rect x="40" width="40" height="30" fill="{stained}"/></svg>'
    )


def in_words(grade: float) -> str:
    """Say what a grade means.

    >>> in_words(5.0), in_words(2.5)
    ('no stain', 'between clear and strong stain')
    """
    stain = {5: "no stain", 4: "slight stain", 3: "clear stain", 2: "strong stain", 1: "heavy stain"}
    if grade in stain:
        return stain[int(grade)]
    above, below = stain[int(grade) + 1], stain[int(grade)]
    return f"between {above if above == 'no stain' else above.removesuffix(' stain')} and {below}"


def steps() -> tuple[Step, ...]:
    """Return the nine steps from 5 (no stain) to 1."""
    return tuple(Step(one, written(one), in_words(one), KEYS[one], step_svg(one)) for one in STAINING_STEPS)
