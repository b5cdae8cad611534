"""From a phone's picture to colour: the phone's tone curve and its colours, fitted together to patches of known colour.

What a phone stores is light put through a tone curve, after a mixing of channels. Light here is that of a place over
that of bare paper at the same place, each taken back through the curve, so uneven light falls out. The curve is a power
with a shoulder at the bright end and a little bend, written for the logarithm of nominal linear light x:

    log g(x) = (1 + a) log x - log(1 - k x) + c (log x)^2

A share f of stray light is taken off; gains (one in common, one for each channel) set the white; six shares d mix the
channels and leave greys grey; the root-polynomial terms of degree 2, sqrt(rg), sqrt(gb), sqrt(rb), each less the mean
of its two channels (so greys stay), bend the map without making it depend on brightness. The picture's own linear RGB
to XYZ comes last. These 23 numbers are held by a ridge to where phones usually are (`beliefs`).

The fit is Gauss-Newton (Levenberg-Marquardt steps) on differences in L*a*b* scaled as CIEDE2000 scales them, with the
Cauchy loss, so that one wrong patch leads little astray. How far a patch may be off is not fixed: of a few sizes the
one with the highest evidence (Laplace) is taken. A patch with a channel at the dark end of its range (a colour the
picture's space cannot hold) tells nothing in that direction of colour, and is not asked there.

Sources: Finlayson, Mackiewicz & Hurlbert (2015), IEEE Transactions on Image Processing 24(5):1460-1470
(root-polynomial); MacKay (1992), Neural Computation 4(3):415-447 (evidence); the scaling of CIEDE2000: Sharma, Wu &
Dalal (2005).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tilestudy.colour.srgb import to_encoded
from tilestudy.colour.xyz import xyz_to_lab
from tilestudy.photo.beliefs import COMMON, GAINS, MIXING, ROOTS, STRAY, Belief

Floats = npt.NDArray[np.float64]

_TO = np.array([0, 0, 1, 1, 2, 2])
_FROM = np.array([1, 2, 0, 2, 0, 1])
DARKEST = 1e-4
CAUCHY = 6.0
"""CIEDE2000 from which a patch begins to count less."""
BY_CHROMA = 0.02
"""Strong colours are off by more: the size of a patch's error grows by this share for each unit of C*."""
DARK_END, LEAST_TOLD = (0.02, 0.06), 0.05
"""Encoded levels between which a channel begins to tell; what it tells below."""


def log_tone(values: Floats, nominal: Floats) -> Floats:
    """Logarithm of light before the tone curve, for parameters (p, 23) and nominal light (..., 3): (p, ..., 3)."""
    shape = (-1,) + (1,) * np.ndim(nominal)
    a, k, c = (values[:, at].reshape(shape) for at in range(3))
    x = np.maximum(nominal, DARKEST)
    log = np.log(x)
    return np.asarray((1 + a) * log - np.log(1 - np.clip(k, -3, 0.98) * np.minimum(x, 1)) + c * log**2)


def light_to_xyz(values: Floats, light: Floats, to_xyz: Floats) -> Floats:
    """XYZ for parameters (p, 23) and light over paper (p, n, 3), stray light taken off: (p, n, 3)."""
    mixing = np.zeros((len(values), 3, 3))
    mixing[:, _TO, _FROM] = values[:, MIXING]
    mixing[:, range(3), range(3)] = 1 - mixing.sum(axis=2)
    balanced = light * np.exp(values[:, COMMON, None] + values[:, GAINS])[:, None]
    mixed = balanced @ mixing.transpose(0, 2, 1)
    if np.any(values[:, ROOTS]):
        r, g, b = np.moveaxis(np.maximum(balanced, 0), -1, 0)
        roots = np.stack(
            [np.sqrt(r * g) - (r + g) / 2, np.sqrt(g * b) - (g + b) / 2, np.sqrt(r * b) - (r + b) / 2], axis=-1
        )
        mixed = mixed + roots @ values[:, ROOTS].reshape(-1, 3, 3).transpose(0, 2, 1)
    return np.asarray(mixed @ to_xyz.T)


def lighten(values: Floats, nominal: Floats, paper: Floats) -> Floats:
    """Light over paper for parameters (p, 23), nominal light and that of the paper there (n, 3): (p, n, 3)."""
    ratio = np.exp(log_tone(values, nominal) - log_tone(values, paper))
    stray = values[:, STRAY, None, None]
    return np.asarray(np.maximum((ratio - stray) / (1 - stray), 1e-5))


@dataclass(frozen=True)
class ColourMap:
    """A fitted phone: 23 numbers, the picture's linear RGB to XYZ (reference illuminant), and that illuminant's
    white."""

    values: Floats
    to_xyz: Floats
    white: Floats

    def curve(self, nominal: Floats) -> Floats:
        """Light of nominal light, any shape, before the tone curve; it rises throughout."""
        return np.asarray(np.exp(log_tone(self.values[None], nominal)[0]))

    def lab(self, light: npt.ArrayLike) -> Floats:
        """L*a*b* of light over paper (..., 3)."""
        given = np.asarray(light, dtype=float)
        xyz = light_to_xyz(self.values[None], given.reshape(1, -1, 3), self.to_xyz)
        return xyz_to_lab(np.maximum(xyz, 0).reshape(given.shape), self.white)

    def lab_of_patches(self, nominal: Floats, paper: Floats) -> Floats:
        """L*a*b* (n, 3) of nominal light (n, 3) over that of the paper there (n, 3)."""
        return self.lab(lighten(self.values[None], nominal, paper)[0])


@dataclass(frozen=True)
class Fitted:
    """A fit: the map, the belief and size it took, and CIEDE2000 of each patch, left in and left out."""

    colour_map: ColourMap
    held: Belief
    left_in: Floats
    left_out: Floats
    told: Floats
    """1 where a patch counts fully, less where it is far off (Cauchy)."""


def scaling(lab: Floats) -> Floats:
    """Return (n, 3, 3) matrices that turn small differences from colours (n, 3) into parts of CIEDE2000."""
    L, a, b = lab.T
    C = np.hypot(a, b)
    G = 0.5 * (1 - np.sqrt(C**7 / (C**7 + 25.0**7)))
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    S_C, S_H = 1 + 0.045 * C, 1 + 0.012 * C
    grey = C < 3
    u = np.where(grey, 1.0, (1 + G) * a / np.maximum(C, 1e-9))
    v = np.where(grey, 0.0, b / np.maximum(C, 1e-9))
    length = np.hypot(u, v)
    u, v = u / length, v / length
    found = np.zeros((len(lab), 3, 3))
    found[:, 0, 0] = 1 / S_L
    found[:, 1, 1], found[:, 1, 2] = (1 + G) * u / S_C, v / S_C
    found[:, 2, 1], found[:, 2, 2] = -(1 + G) * v / S_H, u / S_H
    return found


def _without_dark_ends(scale: Floats, nominal: Floats, paper: Floats, to_xyz: Floats, white: Floats) -> Floats:
    """Take out of each patch's scaling the direction of a channel at the dark end of its range."""
    level = to_encoded(nominal)
    told = np.clip((level - DARK_END[0]) / (DARK_END[1] - DARK_END[0]), LEAST_TOLD, 1)
    told[np.ptp(level, axis=1) < 0.05] = 1  # a black patch is dark in all channels, and means it
    found = scale.copy()
    light = 0.85 * nominal / paper
    for patch, channel in np.argwhere(told < 1):
        here = np.maximum(light[patch], 0.002)
        there = light[patch].copy()
        there[channel] -= 0.04
        labs = xyz_to_lab(np.maximum(np.stack([here, there]) @ to_xyz.T, 1e-3), white)
        way = found[patch] @ (labs[0] - labs[1])
        way = way / max(float(np.linalg.norm(way)), 1e-9)
        found[patch] -= (1 - told[patch, channel]) * np.outer(way, way @ found[patch])
    return found


def fit_map(
    nominal: Floats, paper: Floats, lab: Floats, to_xyz: Floats, white: Floats, held: Sequence[Belief]
) -> Fitted:
    """Fit a phone to patches.

    Parameters
    ----------
    nominal, paper : (n, 3) arrays
        Nominal linear light of the patches, and of bare paper at the same places.
    lab : (n, 3) array
        What the patches are.
    to_xyz : (3, 3) array
        The picture's linear RGB to XYZ under the references' illuminant.
    white : (3,) array
    held : beliefs
        Of them, and of their sizes, the one with the highest evidence is taken.
    """
    plain = scaling(lab)
    scale = _without_dark_ends(plain, nominal, paper, to_xyz, white)
    scale = scale / (1 + BY_CHROMA * np.hypot(lab[:, 1], lab[:, 2]))[:, None, None]
    problem = _Problem(nominal, paper, lab, scale, to_xyz, white)
    tried: list[_Solved] = []
    for one in held:
        start = one.middle
        for size in one.sizes:
            tried.append(problem.solve(start, replace(one, sizes=(size,))))
            start = tried[-1].values
    best = max(tried, key=lambda one: one.evidence)
    fitted = ColourMap(best.values, to_xyz, white)
    away = np.einsum("nij,nj->ni", plain, fitted.lab_of_patches(nominal, paper) - lab)
    left_out = np.empty_like(away)
    spread = best.jacobian @ np.linalg.solve(best.normal, best.jacobian.T)
    for n in range(len(lab)):
        block = slice(3 * n, 3 * n + 3)
        hat = spread[block, block] * best.weight[3 * n]
        back = plain[n] @ np.linalg.pinv(scale[n], rcond=1e-6)
        left_out[n] = away[n] + back @ (np.linalg.solve(np.eye(3) - 0.97 * hat, best.residual[n]) - best.residual[n])
    told = 1 / (1 + (best.residual**2).sum(axis=1) / CAUCHY**2)
    return Fitted(fitted, best.held, np.linalg.norm(away, axis=1), np.linalg.norm(left_out, axis=1), told)


@dataclass(frozen=True)
class _Solved:
    values: Floats
    held: Belief
    evidence: float
    residual: Floats
    jacobian: Floats
    normal: Floats
    weight: Floats


@dataclass(frozen=True)
class _Problem:
    """Patches to be fitted, with everything that stays the same while they are."""

    nominal: Floats
    paper: Floats
    lab: Floats
    scale: Floats
    to_xyz: Floats
    white: Floats

    def residuals(self, values: Floats) -> Floats:
        """Scaled differences (p, n, 3) for parameters (p, 23)."""
        xyz = light_to_xyz(values, lighten(values, self.nominal, self.paper), self.to_xyz)
        return np.asarray(np.einsum("nij,pnj->pni", self.scale, xyz_to_lab(xyz, self.white) - self.lab))

    def cost(self, values: Floats, residual: Floats, held: Belief) -> float:
        away = (values - held.middle)[held.free]
        loss = CAUCHY**2 * np.log1p((residual**2).sum(axis=-1) / CAUCHY**2).sum()
        return float(loss / held.sizes[0] ** 2 + away @ held.ridge @ away)

    def solve(self, start: Floats, held: Belief, most: int = 20) -> _Solved:
        (size,) = held.sizes
        free, ridge = held.free, held.ridge
        values, step, damping = start.copy(), 1e-5, 1e-3
        residual = self.residuals(values[None])[0]
        cost = self.cost(values, residual, held)
        for _ in range(most):
            near = np.repeat(values[None], len(free), axis=0)
            near[np.arange(len(free)), free] += step
            jacobian = ((self.residuals(near) - residual) / step).reshape(len(free), -1).T
            weight = np.repeat(1 / (1 + (residual**2).sum(axis=-1) / CAUCHY**2), 3) / size**2
            normal = jacobian.T @ (jacobian * weight[:, None]) + ridge
            slope = jacobian.T @ (weight * residual.ravel()) + ridge @ (values - held.middle)[free]
            for _ in range(7):
                new = values.copy()
                new[free] -= np.linalg.solve(normal + damping * np.diag(np.diag(normal)), slope)
                new_residual = self.residuals(new[None])[0]
                new_cost = self.cost(new, new_residual, held)
                if new_cost < cost:
                    break
                damping *= 6
            else:
                break
            settled = cost - new_cost < 1e-4
            values, residual, cost, damping = new, new_residual, new_cost, max(damping / 6, 1e-9)
            if settled:
                break
        logs = float(np.linalg.slogdet(normal)[1] - np.linalg.slogdet(ridge)[1])
        evidence = -0.5 * (cost + logs + 6 * len(self.lab) * np.log(size))
        return _Solved(values, held, evidence, residual, jacobian, normal, weight)
