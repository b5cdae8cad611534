"""What makes a photo unfit to be measured, and the sentence for it.

The limits were found with the synthetic trays of tests/synthetic: honest scenes (uneven light 2:1, lamps of 2,700 K,
fluorescent lamps) pass; scenes beyond them put tiles off by more than the accuracy that is stated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tilestudy.photo.beliefs import beliefs
from tilestudy.photo.colour_map import ColourMap, Fitted, fit_map
from tilestudy.photo.flat import Flat
from tilestudy.photo.patches import Seen
from tilestudy.study.language import listed
from tilestudy.tray.references import GREY as NEUTRAL

Floats = npt.NDArray[np.float64]

CLIPPED_PAPER = 0.20
"""Share of the paper's pixels at the top of the range. The light is told by the rest of the paper, and tiles stay
within the stated accuracy up to 0.25; their errors double from 0.35 to 0.45 on, while the patches still fit."""
CLIPPED_PATCH = 0.02
MOST_CLIPPED = 4
"""Coloured patches of 24 that may be left out for being clipped."""
UNEVEN = 0.03
DRIFT = 0.5
"""Range over the page of the log of red over blue, or of green over both, of the paper's light: below 0.08 under one
light (0.15 by the paper alone), 0.1 to 0.2 in real photos, 0.3 to 1.5 with a window and a lamp. What the paper shows is taken
out; from 0.6 on, half more than the stated error is left."""
GREY, APART = 10.0, 5.0
"""C* below which a patch is a grey, and how far greys differ in L* at least to be told apart."""
FLATTEST, STEEPEST = 0.6, 2.2
"""Slope of log true light on log nominal light between a dark grey and paper."""
LARGEST_FIT = {"24 patches": 5.0, "6 patches": 5.0, "grey card": 6.0}
SUSPICIOUS, MIDDLING = 8.0, 2.5
"""CIEDE2000 of the worst patch, and the median, from which the patches' places are doubted."""
BETTER, GOOD = 0.6, 3.5
"""An other order is believed when it brings the patches' mean difference below this share of what it was, and below
this."""

NO_PAPER = (
    "Hardly any bare paper of the tray sheet is seen, and the light is measured by it. Lay tiles in their cells "
    "only, keep the "
    "sheet clear of other things, and take the photo again."
)


def paper(flat: Flat) -> list[str]:
    """Fault of paper that is too bright."""
    if flat.clipped <= CLIPPED_PAPER:
        return []
    return [
        f"{flat.clipped:.0%} of the paper is overexposed (at the top of the camera's range; at most "
        f"{CLIPPED_PAPER:.0%} may be), "
        "so colours would come out wrong without a sign of it. Tap on the white paper and make the picture darker, "
        "then take "
        "it again."
    ]


def light(flat: Flat, colour_map: ColourMap) -> list[str]:
    """Fault of light whose colour is not the same all over the sheet."""
    if drift(flat, colour_map) <= DRIFT:
        return []
    return [
        "The paper has another colour on one side than on the other: two kinds of light fall on the sheet (a window "
        "and a lamp, "
        "for instance). Leave one of them on only, and take the photo again."
    ]


def drift(flat: Flat, colour_map: ColourMap) -> float:
    """Range over the page of the colour of the paper's light: log of red over blue, of green over both."""
    x = np.linspace(0.06, 0.94, 12) * flat.page[0]
    y = np.linspace(0.06, 0.94, 16) * flat.page[1]
    found = np.log(colour_map.curve(flat.at(np.stack(np.meshgrid(x, y), axis=-1))))
    sides = found[..., 0] - found[..., 2]
    middle = found[..., 1] - (found[..., 0] + found[..., 2]) / 2
    return float(max(np.ptp(sides), np.ptp(middle)))


def references(printed: Sequence[str], filed: Sequence[str]) -> list[str]:
    """Fault of a reference file that is not the one the tray was printed with; names of patches in order.

    >>> references(["white", "grey"], ["white", "grey"])
    []
    """
    if list(printed) == list(filed):
        return []
    with_it = "Give the file with which the tray was printed: --references FILE."
    if not filed:
        return [f"The tray has reference patches ({_few(printed)}), and no file says what colours they are. {with_it}"]
    if not printed:
        return [
            f"The tray was printed without reference patches, and the file lists {len(filed)}. Leave out --references, "
            "or print the tray anew with it."
        ]
    return [
        f"The tray was printed for the patches {_few(printed)}, and the file lists {_few(filed)}, so it is not known "
        f"which patch is which. {with_it}"
    ]


def _few(names: Sequence[str]) -> str:
    return listed(list(names)) if len(names) <= 6 else f"{', '.join(names[:3])} ... {names[-1]} ({len(names)} in all)"


def hidden(seen: Sequence[Seen]) -> list[str]:
    """Fault of patches that are not of one colour."""
    names = [one.name for one in seen if one.uneven > UNEVEN]
    if not names:
        return []
    many = len(names) > 1
    return [
        f"Reference patch{'es' * many} {listed(names)} {'are' if many else 'is'} not of one colour in the photo: "
        "covered in part, "
        "in a shadow, mirroring the lamp, or far off its place. Lay everything in its place and take the photo again."
    ]


def gone(seen: Sequence[Seen], paper_there: Floats, lab: Floats) -> list[str]:
    """Fault of patches in whose place bare paper is."""
    ratio = np.abs(np.log(np.maximum([one.nominal for one in seen], 1e-4) / paper_there)).max(axis=1)
    pale = (lab[:, 0] >= 85) & (np.hypot(lab[:, 1], lab[:, 2]) <= 12)
    names = [one.name for one, near, white in zip(seen, ratio < 0.06, pale, strict=True) if near and not white]
    if not names:
        return []
    many = len(names) > 1
    if many and len(names) > len(seen) / 2:
        return [
            "The reference patches are missing: bare paper lies in their places. Lay them as the sheet shows and "
            "take the photo "
            "again."
        ]
    return [
        f"Reference patch{'es' * many} {listed(names)} {'are' if many else 'is'} missing: bare paper lies there. "
        f"Lay {'them' if many else 'it'} in place and take the photo again."
    ]


def doubtful(fitted: Fitted) -> bool:
    """Whether patches are so far off that they may lie in each other's places."""
    return bool(fitted.left_in.max() >= SUSPICIOUS or np.median(fitted.left_in) >= MIDDLING)


def too_many_clipped(kind: str, lab: Floats) -> bool:
    """Whether clipped patches cannot be left out: too few others, or a grey among them."""
    return kind != "24 patches" or len(lab) > MOST_CLIPPED or bool((np.hypot(lab[:, 1], lab[:, 2]) < NEUTRAL).any())


def clipped_patches(names: Sequence[str]) -> str:
    """Fault of overexposed patches."""
    return (
        f"Reference patch{'es' * (len(names) > 1)} {listed(names)} {'are' if len(names) > 1 else 'is'} overexposed "
        "(at the top "
        "of the camera's range), so colours cannot be told by it. Make the picture darker, keep reflections of the "
        "lamp off the "
        "patches, and take it again."
    )


def clipped_note(names: Sequence[str]) -> str:
    """Note of overexposed patches that could be left out."""
    which = f"reference patch{'es' * (len(names) > 1)} {listed(names)}"
    return f"Left out as overexposed: {which}. A darker picture uses them all."


@dataclass(frozen=True)
class Order:
    """Patches with what is needed to fit them in another order."""

    nominal: Floats
    paper: Floats
    lab: Floats
    to_xyz: Floats
    white: Floats
    kind: str
    names: Sequence[str]
    turned: npt.NDArray[np.int64] | None

    def fitted(self, order: npt.NDArray[np.int64]) -> Fitted:
        """The fit as if the patches lay in another order."""
        held = replace(beliefs(self.kind)[-1], sizes=(1.2,))
        return fit_map(self.nominal, self.paper, self.lab[order], self.to_xyz, self.white, [held])

    def faults(self) -> list[str]:
        """Fault of patches that lie in each other's places."""
        if len(self.names) < 2:
            return []
        same = np.arange(len(self.names))
        before = float(self.fitted(same).left_in.mean())
        limit = min(BETTER * before, GOOD)
        if self.turned is not None and self.fitted(self.turned).left_in.mean() < limit:
            return [
                "The reference patches lie turned by 180 degrees: "
                + self._pairs(self.turned)
                + ". Turn them round as the sheet "
                "shows, and take the photo again."
            ]
        order, best = same, before
        for _ in range(3):
            pair = self._best_swap(order)
            if pair is None:
                break
            tried = order.copy()
            tried[list(pair)] = tried[list(pair)[::-1]]
            now = float(self.fitted(tried).left_in.mean())
            if now > 0.9 * best:
                break
            order, best = tried, now
        if best > limit:
            return []
        wrong = [self.names[n] for n in range(len(order)) if order[n] != n]
        return [
            f"The reference patches {listed(wrong)} seem to lie in each other's places: {self._pairs(order)}. Lay "
            "them as the sheet "
            "shows, or correct the reference file, and take the photo again."
        ]

    def _best_swap(self, order: npt.NDArray[np.int64]) -> tuple[int, int] | None:
        """The pair whose exchange fits best; among many patches only the worst are tried with all."""
        left = self.fitted(order).left_in
        first = [int(n) for n in np.argsort(-left)[: 6 if len(order) <= 8 else 2]]
        tried: list[tuple[float, tuple[int, int]]] = []
        for a in first:
            for b in range(len(order)):
                if b != a and (b not in first or b > a):
                    new = order.copy()
                    new[[a, b]] = new[[b, a]]
                    tried.append((float(self.fitted(new).left_in.mean()), (a, b)))
        return min(tried)[1] if tried else None

    def _pairs(self, order: npt.NDArray[np.int64]) -> str:
        moved = [n for n in range(len(order)) if order[n] != n][:3]
        return listed([f"where {self.names[n]} belongs lies {self.names[int(order[n])]}" for n in moved])


def greys(order: Order) -> list[str]:
    """Fault of grey patches that are not as light, one against the other, as the reference file says."""
    grey = np.flatnonzero(np.hypot(order.lab[:, 1], order.lab[:, 2]) < GREY)
    light = (order.nominal / order.paper)[grey].mean(axis=1)
    known = order.lab[grey, 0]
    lighter = known[:, None] > known[None, :] + APART
    wrong = lighter & (light[:, None] < 0.9 * light[None, :])
    if not wrong.any():
        return []
    moved = np.flatnonzero(np.argsort(np.argsort(light)) != np.argsort(np.argsort(known)))
    names = listed([order.names[int(grey[n])] for n in moved])
    return [
        f"The grey reference patches {names} lie in each other's places: the darker ones are the lighter ones in the "
        "photo. Lay them as "
        "the sheet shows, or correct the reference file, and take the photo again."
    ]


def curve(order: Order) -> list[str]:
    """Fault of a file without a phone's tone curve."""
    slope = tone_slope(order)
    if FLATTEST <= slope <= STEEPEST:
        return []
    dark = slope < FLATTEST
    return [
        "The picture's brightness does not run like a photo's: the grey patches are much too "
        f"{'dark' if dark else 'light'} "
        f"beside the paper{', as in a raw or linear file' * dark}. Give the JPEG (or HEIC) as the phone makes it, "
        "without effects."
    ]


def fit(fitted: Fitted, kind: str, names: Sequence[str]) -> list[str]:
    """Fault of patches whose colours are far from the reference file's."""
    typical = float(np.median(fitted.left_in))
    if typical <= LARGEST_FIT[kind]:
        return []
    worst = [names[int(n)] for n in np.argsort(-fitted.left_in)[:3]]
    return [
        "The reference patches do not have the colours of the reference file: half of them are off by more than "
        f"{typical:.1f} "
        f"CIEDE2000 (1 is just seen side by side), {listed(worst)} most. Check that the file is for these patches, "
        "that they lie as "
        "on the sheet, and that the phone used no colour effect."
    ]


def tone_slope(order: Order) -> float:
    """Slope of log true light on log nominal light from the darkest to the lightest grey (or paper, when there is one
    grey)."""
    chroma = np.hypot(order.lab[:, 1], order.lab[:, 2])
    grey = np.flatnonzero(chroma < GREY)
    if not len(grey):
        return 1.0
    true = ((order.lab[grey, 0] + 16) / 116) ** 3
    nominal = np.maximum((order.nominal / order.paper)[grey].mean(axis=1), 1e-4)
    true, nominal = np.append(true, 0.85), np.append(nominal, 1.0)
    middle = (true > 0.06) | (true == true.max())
    if np.ptp(np.log(true[middle])) < 0.5:
        return 1.0
    return float(np.polyfit(np.log(nominal[middle]), np.log(true[middle]), 1)[0])
