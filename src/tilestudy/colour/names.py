"""Plain colour names: the 267 ISCC-NBS blocks and their groups.

Source: Kelly (1958), J. Res. NBS 61:427 (centroids, public domain); groups from NBS SP 440 (Kelly & Judd 1976).
The L*a*b* (D65) in data/iscc_nbs.csv were computed from the Munsell notations; good for naming, not for measuring.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from tilestudy.colour.adaptation import adapt
from tilestudy.colour.difference import ciede2000, lab_of
from tilestudy.study.records import Lab


@cache
def _centroids() -> tuple[tuple[str, str, str, Lab], ...]:
    text = files("tilestudy.colour").joinpath("data", "iscc_nbs.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return tuple(
        (row["name"], row["level2"], row["level1"], (float(row["L"]), float(row["a"]), float(row["b"]))) for row in rows
    )


def colour_named(name: str) -> Lab | None:
    """Return the L*a*b* (D65) of a plain colour name, or None when it is not known.

    A name of a group ("brown") is the mean of its blocks.

    >>> [round(x) for x in colour_named("dark reddish brown")]
    [13, 20, 7]
    """
    wanted = " ".join(name.casefold().replace("-", " ").split()).replace("gray", "grey")
    for level in range(3):
        labs = [entry[3] for entry in _centroids() if entry[:3][level].replace("gray", "grey") == wanted]
        if labs:
            return lab_of(np.mean(labs, axis=0))
    return None


def name_of(lab: npt.ArrayLike, level: int = 3) -> str:
    """Return the plain name of a colour under D65: that of the nearest ISCC-NBS block by CIEDE2000.

    Level 3 is the block ("dark reddish brown", one of 267), 2 its group ("reddish brown", 29), 1 the plainest word
    ("brown", 13). Colours under another light go to `name_under`.

    >>> [name_of([13, 20, 7], level) for level in (3, 2, 1)]
    ['dark reddish brown', 'reddish brown', 'brown']
    """
    centroids = _centroids()
    distance = ciede2000(np.asarray(lab, dtype=float), np.array([entry[3] for entry in centroids]))
    names = centroids[int(np.argmin(distance))][:3]
    return names[3 - level].replace("gray", "grey")


def name_under(lab: npt.ArrayLike, illuminant: str, observer: str, level: int = 3) -> str:
    """Return the plain name of a colour measured under any CIE illuminant, adapted to D65 first.

    Raises WrongRequestError when the illuminant or the observer is not known.

    >>> name_under([45, 10, 17], "D50", "2"), name_of([45, 10, 17])
    ('greyish yellowish brown', 'moderate yellowish brown')
    """
    return name_of(adapt(lab, illuminant, observer), level)
