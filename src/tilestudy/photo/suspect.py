"""What makes a photo unfit to be measured, and the sentence for it.

The limits were found with the synthetic trays of tests/synthetic: honest scenes (uneven light 2:1, lamps of 2,700 K,
fluorescent lamps) pass; scenes beyond them put tiles off by more than the accuracy that is stated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tilestudy.photo.colour_map import ColourMap, Fitted, belief, fit_map
from tilestudy.photo.flat import Flat
from tilestudy.photo.patches import Seen
from tilestudy.study.language import listed

Floats = npt.NDArray[np.float64]

CLIPPED_PAPER = 0.10
CLIPPED_PATCH = 0.02
MOST_CLIPPED = 4
"""Coloured patches of 24 that may be left out for being clipped."""
UNEVEN = 0.03
DRIFT = 0.12
"""Range over the page of the log of red over blue, or of green over the two, of the paper's light."""
FLATTEST, STEEPEST = 0.6, 1.6
"""Slope of log true light on log nominal light between a dark grey and paper."""
LARGEST_FIT = {"24 patches": 5.0, "6 patches": 5.0, "grey card": 6.0}
SUSPICIOUS = 6.0
"""CIEDE2000 of a patch from which its place is doubted."""
BETTER = 0.6
"""An other order is believed when it brings the patches' mean difference below this share of what it was."""

NO_PAPER = (
    "Hardly any bare paper of the tray sheet is seen, and the light is measured by it. Lay tiles in their cells only, keep the "
    "sheet clear of other things, and take the photo again."
)


def paper(flat: Flat) -> list[str]:
    """Fault of paper that is too bright."""
    if flat.clipped <= CLIPPED_PAPER:
        return []
    return [
        f"{flat.clipped:.0%} of the paper is overexposed (at the top of the camera's range; at most {CLIPPED_PAPER:.0%} may be), "
        "so colours would come out wrong without a sign of it. Tap on the white paper and make the picture darker, then take "
        "it again."
    ]


def light(flat: Flat, colour_map: ColourMap) -> list[str]:
    """Fault of light whose colour is not the same all over the sheet."""
    if drift(flat, colour_map) <= DRIFT:
        return []
    return [
        "The paper has another colour on one side than on the other: two kinds of light fall on the sheet (a window and a lamp, "
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


def other_references(cells: int, patches: int) -> str:
    """Fault of a reference file that is not the one the tray was printed for."""
    return (
        f"The tray has places for {cells} reference patches, and the reference file lists {patches}. Give the file with which "
        "the tray was printed."
    )


def patches(seen: Sequence[Seen], paper_there: Floats, lab: Floats) -> list[str]:
    """Fault of patches that are covered, or not there."""
    gone, hidden = [], []
    for one, bare, known in zip(seen, paper_there, lab, strict=True):
        if one.uneven > UNEVEN:
            hidden.append(one.name)
        elif np.abs(np.log(np.maximum(one.nominal, 1e-4) / bare)).max() < 0.06 and (
            known[0] < 85 or np.hypot(known[1], known[2]) > 12
        ):
            gone.append(one.name)
    faults = []
    if gone:
        many = len(gone) > 1
        faults.append(
            f"Reference patch{'es' * many} {listed(gone)} {'are' if many else 'is'} missing: bare paper lies there. "
            f"Lay {'them' if many else 'it'} in place and take the photo again."
        )
    if hidden:
        many = len(hidden) > 1
        faults.append(
            f"Reference patch{'es' * many} {listed(hidden)} {'are' if many else 'is'} not of one colour in the photo: covered in "
            "part, in a shadow, mirroring the lamp, or far off its place. Lay everything in its place and take the photo again."
        )
    return faults


def too_many_clipped(kind: str, lab: Floats) -> bool:
    """Whether clipped patches cannot be left out: too few others, or a grey among them."""
    return kind != "24 patches" or len(lab) > MOST_CLIPPED or bool((np.hypot(lab[:, 1], lab[:, 2]) < 8).any())


def clipped_patches(names: Sequence[str]) -> str:
    """Fault of overexposed patches."""
    return (
        f"Reference patch{'es' * (len(names) > 1)} {listed(names)} {'are' if len(names) > 1 else 'is'} overexposed (at the top "
        "of the camera's range), so colours cannot be told by it. Make the picture darker, keep reflections of the lamp off the "
        "patches, and take it again."
    )


def clipped_note(names: Sequence[str]) -> str:
    """Note of overexposed patches that could be left out."""
    return f"Left out as overexposed: reference patch{'es' * (len(names) > 1)} {listed(names)}. A darker picture uses them all."


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
        held = replace(belief(self.kind), sizes=(1.2,))
        return fit_map(self.nominal, self.paper, self.lab[order], self.to_xyz, self.white, held)

    def faults(self, as_is: Fitted) -> list[str]:
        """Fault of patches that lie in each other's places."""
        if len(self.names) < 2 or as_is.left_in.max() < SUSPICIOUS:
            return []
        same = np.arange(len(self.names))
        before = float(self.fitted(same).left_in.mean())
        if self.turned is not None and self.fitted(self.turned).left_in.mean() < BETTER * before:
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
        if best > BETTER * before:
            return []
        wrong = [self.names[n] for n in same if order[n] != n]
        return [
            f"The reference patches {listed(wrong)} seem to lie in each other's places: {self._pairs(order)}. Lay them as the sheet "
            "shows, or correct the reference file, and take the photo again."
        ]

    def _best_swap(self, order: npt.NDArray[np.int64]) -> tuple[int, int] | None:
        """The pair whose exchange fits best; among many patches only the worst are tried with all."""
        left = self.fitted(order).left_in
        first = np.argsort(-left)[: 6 if len(order) <= 8 else 2]
        tried: list[tuple[float, tuple[int, int]]] = []
        for a in first:
            for b in range(len(order)):
                if b != a and (b not in first or b > a):
                    new = order.copy()
                    new[[a, b]] = new[[b, a]]
                    tried.append((float(self.fitted(new).left_in.mean()), (int(a), int(b))))
        return min(tried)[1] if tried else None

    def _pairs(self, order: npt.NDArray[np.int64]) -> str:
        moved = [n for n in range(len(order)) if order[n] != n][:3]
        return listed([f"where {self.names[n]} belongs lies {self.names[order[n]]}" for n in moved])


def curve(order: Order) -> list[str]:
    """Fault of a file without a phone's tone curve."""
    slope = tone_slope(order)
    if FLATTEST <= slope <= STEEPEST:
        return []
    dark = slope < FLATTEST
    return [
        f"The picture's brightness does not run like a photo's: the grey patches are much too {'dark' if dark else 'light'} "
        f"beside the paper{', as in a raw or linear file' * dark}. Give the JPEG (or HEIC) as the phone makes it, without effects."
    ]


def fit(fitted: Fitted, kind: str, order: Order) -> list[str]:
    """Fault of patches whose colours are far from the reference file's."""
    typical = float(np.median(fitted.left_in))
    if typical <= LARGEST_FIT[kind]:
        return []
    worst = [order.names[int(n)] for n in np.argsort(-fitted.left_in)[:3]]
    return [
        f"The reference patches do not have the colours of the reference file: half of them are off by more than {typical:.1f} "
        f"CIEDE2000 (1 is just seen side by side), {listed(worst)} most. Check that the file is for these patches, that they lie as "
        "on the sheet, and that the phone used no colour effect."
    ]


def tone_slope(order: Order) -> float:
    """Slope of log true light on log nominal light from the darkest to the lightest grey (or paper, when there is one grey)."""
    chroma = np.hypot(order.lab[:, 1], order.lab[:, 2])
    greys = np.flatnonzero(chroma < 10)
    if not len(greys):
        return 1.0
    true = ((order.lab[greys, 0] + 16) / 116) ** 3
    nominal = np.maximum((order.nominal / order.paper)[greys].mean(axis=1), 1e-4)
    true, nominal = np.append(true, 0.85), np.append(nominal, 1.0)
    middle = (true > 0.06) | (true == true.max())
    if np.ptp(np.log(true[middle])) < 0.5:
        return 1.0
    return float(np.polyfit(np.log(nominal[middle]), np.log(true[middle]), 1)[0])
