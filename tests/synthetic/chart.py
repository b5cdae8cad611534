"""Reference patches with known spectra: a 24-patch chart, six loose patches, a grey card."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import numpy as np

from tests.synthetic.spectra import DATA, Floats, lab_of, of_lab

_SIX = {
    "white": (94.0, -0.4, 1.8),
    "grey": (52.0, 0.2, -0.4),
    "black": (18.0, 0.3, 0.2),
    "brown": (38.0, 14.0, 17.0),
    "blue-green": (52.0, -24.0, -6.0),
    "orange": (62.0, 32.0, 50.0),
}


@dataclass(frozen=True)
class Patches:
    """Names and reflectances (n, 31) of reference patches."""

    names: tuple[str, ...]
    spectra: Floats


def patches(kind: str | None) -> Patches:
    """Return the patches called "24", "6" or "grey"; none for None."""
    if kind is None:
        return Patches((), np.zeros((0, 31)))
    if kind == "24":
        lines = [line for line in (DATA / "chart-24.csv").read_text().splitlines() if not line.startswith("#")]
        rows = list(csv.DictReader(lines))
        labs = {row["patch"]: (float(row["L"]), float(row["a"]), float(row["b"])) for row in rows}
    elif kind == "6":
        labs = _SIX
    elif kind == "grey":
        labs = {"grey card": (49.5, 0.1, 0.3)}
    else:
        raise ValueError(f"no references called {kind!r}")
    return Patches(tuple(labs), np.stack([of_lab(lab) for lab in labs.values()]))


def stated_labs(
    kind: str | None, illuminant: str, observer: int, error: float, rng: np.random.Generator
) -> list[tuple[str, tuple[float, float, float]]]:
    """Return what the reference file says: the patches' L*a*b*, with a normal error of the given sd on each value."""
    found = patches(kind)
    labs = lab_of(found.spectra, illuminant, observer) + error * rng.standard_normal((len(found.names), 3))
    return [(name, (float(lab[0]), float(lab[1]), float(lab[2]))) for name, lab in zip(found.names, labs, strict=True)]
