"""Reflectance to XYZ and L*a*b*, under a CIE illuminant, as seen by a CIE observer.

The sums of CIE 15 run over 360 to 780 nm every 1 nm. A reflectance measured every 5, 10 or 20 nm is interpolated with
Lagrange polynomials (cubic, quadratic in the first and last step), and beyond its ends it stays at the last measured
value: the conventions of ASTM E308-18 and E2022-16, and of CIE 15:2004, 7.2.2 and 7.2.3 (clauses from memory). The white
is the same sum over a perfect diffuser, so that a flat reflectance is exactly neutral.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from tilestudy.colour.xyz import ILLUMINANTS, OBSERVERS, Floats, xyz_to_lab
from tilestudy.errors import WrongRequestError

_NM = np.arange(360.0, 781.0)


@cache
def _table(file: str) -> dict[str, Floats]:
    text = files("tilestudy.colour").joinpath("data", file).read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


@cache
def _products(illuminant: str, observer: str) -> Floats:
    """Return light times colour-matching functions, (421, 3), every 1 nm, scaled to Y = 1 for a perfect diffuser."""
    if illuminant not in ILLUMINANTS or observer not in OBSERVERS:
        raise WrongRequestError(
            f'A reflectance cannot be seen under "{illuminant}" by the {observer} degree observer. Illuminants: '
            f"{', '.join(ILLUMINANTS)}; observers: {' and '.join(OBSERVERS)} degrees."
        )
    lights, observers = _table("cie_illuminants.csv"), _table("cie_observers.csv")
    light = np.interp(_NM, lights["nm"], lights[illuminant])
    products = light[:, None] * np.stack([observers[axis + observer] for axis in "xyz"], axis=1)
    return np.asarray(products / products[:, 1].sum())


@cache
def _weights(wavelengths: tuple[float, ...], illuminant: str, observer: str) -> Floats:
    """Return the weights (k, 3) that turn reflectances at these wavelengths into XYZ."""
    return _interpolation(np.array(wavelengths)).T @ _products(illuminant, observer)


def _interpolation(at: Floats) -> Floats:
    """Return the (421, k) matrix from values at equally spaced wavelengths to every 1 nm."""
    k = len(at)
    step = at[1] - at[0]
    inside = np.clip(_NM, at[0], at[-1])
    interval = np.minimum((inside - at[0]) // step, k - 2).astype(int)
    matrix = np.zeros((len(_NM), k))
    for row, (nm, place) in enumerate(zip(inside, interval, strict=True)):
        nodes = np.arange(max(place - 1, 0), min(place + 3, k))
        for node in nodes:
            others = nodes[nodes != node]
            matrix[row, node] = np.prod((nm - at[others]) / (at[node] - at[others]))
    return matrix


def reflectance_to_xyz(
    reflectance: npt.ArrayLike, wavelengths: npt.ArrayLike, illuminant: str = "D65", observer: str = "10"
) -> Floats:
    """Return XYZ (..., 3) of reflectances, Y = 1 for a perfect white.

    Parameters
    ----------
    reflectance : (..., k) array_like
        Reflectance factor, 0 to 1.
    wavelengths : (k,) array_like
        nm, rising in equal steps of at most 20 nm, from 400 or below to 700 or above; what lies outside 360 to 780 is
        not used.
    illuminant, observer : str

    Raises
    ------
    WrongRequestError
        When the wavelengths are not so, or the illuminant or observer is not known.

    Examples
    --------
    >>> reflectance_to_xyz([0.5] * 31, range(400, 701, 10), "D50", "2").round(4).tolist()
    [0.4821, 0.5, 0.4126]
    """
    at = np.asarray(wavelengths, dtype=float)
    used = (at >= 360) & (at <= 780)
    at = at[used]
    steps = np.diff(at)
    if len(at) < 3 or not np.allclose(steps, steps[0]) or not 0 < steps[0] <= 20:
        raise WrongRequestError(
            "The wavelengths of the reflectance do not rise in equal steps of 20 nm or less. Export every 10 nm."
        )
    if at[0] > 400 or at[-1] < 700:
        raise WrongRequestError(
            f"The reflectance runs from {at[0]:g} to {at[-1]:g} nm; a colour needs at least 400 to 700 nm."
        )
    values = np.asarray(reflectance, dtype=float)[..., used]
    return np.asarray(values @ _weights(tuple(at.tolist()), illuminant, observer))


def white_of(illuminant: str, observer: str) -> Floats:
    """Return XYZ (3,) of a perfect white by the same sums, Y = 1.

    >>> white_of("D65", "10").round(4).tolist()
    [0.9481, 1.0, 1.073]
    """
    return np.asarray(_products(illuminant, observer).sum(axis=0))


def reflectance_to_lab(
    reflectance: npt.ArrayLike, wavelengths: npt.ArrayLike, illuminant: str = "D65", observer: str = "10"
) -> Floats:
    """Return L*a*b* (..., 3) of reflectances; parameters and errors as for `reflectance_to_xyz`.

    >>> float(reflectance_to_lab([0.5] * 31, range(400, 701, 10))[0].round(3))
    76.069
    """
    return xyz_to_lab(
        reflectance_to_xyz(reflectance, wavelengths, illuminant, observer), white_of(illuminant, observer)
    )
