"""From a sheet and a scene to a picture with its truth.

Materials are spectra; light times sensitivity is summed once for each material. Pixels only mix the materials' camera
colours, which is exact because a camera's response is linear in the spectrum.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.synthetic import cloth
from tests.synthetic.cameras import develop_matrix, sensitivities
from tests.synthetic.chart import patches
from tests.synthetic.develop import Shot, developed
from tests.synthetic.lights import light
from tests.synthetic.photo import ClothTruth, Photo, TileTruth
from tests.synthetic.scene import Scene
from tests.synthetic.sheets import drawn, pitch_of, references_of
from tests.synthetic.spectra import Floats, lab_of_xyz, of_lab, weights
from tests.synthetic.surfaces import EDGE, PER_MM, Tile, face_xyz, painted, random_tiles, texture
from tests.synthetic.view import View, view_of
from tilestudy.colour.difference import ciede2000
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Box, Sheet

_INK: Floats = of_lab((17.0, 0.5, 0.8))
_CARD: Floats = of_lab((12.0, 0.0, 0.0))
_GLARE_COUNTS = 0.1
"""From this share of mirror light on a pixel counts as glare."""
_INSET = 1.0
"""The truth of a tile is that of its face, this far (mm) inside its edge."""

Images = list[npt.NDArray[np.float32]]
"""One (h, w, 3) image for each light of the scene."""


@dataclass(frozen=True)
class _Bench:
    """The page as seen by the camera, being laid."""

    canvas: Images
    per_mm: float
    responses: tuple[Floats, ...]
    """(31, 3) for each light: a reflectance to balanced camera colour."""

    def colours(self, spectra: Floats) -> list[Floats]:
        return [spectra @ response for response in self.responses]

    def lay(
        self, images: Images, at: tuple[float, float], size: tuple[float, float], degrees: float, shadow: float = 0.0
    ) -> Floats:
        """Put images of a thing of a size (mm) with its middle at a place, turned; return its corners (4, 2), mm."""
        h, w = images[0].shape[:2]
        turn = np.radians(degrees)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size) / 2 @ spin.T + np.array(at)
        low = np.floor((corners.min(axis=0) - 2) * self.per_mm).astype(int)
        high = np.ceil((corners.max(axis=0) + 2) * self.per_mm).astype(int)
        whole = self.canvas[0].shape
        x0, y0 = max(low[0], 0), max(low[1], 0)
        x1, y1 = min(high[0], whole[1]), min(high[1], whole[0])
        grow = np.array(size) * self.per_mm / np.array([w, h])
        if max(grow) < 0.75:  # averaged, not sampled, when made smaller
            new = (max(round(size[0] * self.per_mm), 2), max(round(size[1] * self.per_mm), 2))
            images = [cv2.resize(image, new, interpolation=cv2.INTER_AREA).astype(np.float32) for image in images]
            h, w = images[0].shape[:2]
            grow = np.array(size) * self.per_mm / np.array([w, h])
        # pixel i of the image covers i to i + 1; its middle is i + 0.5
        linear = spin @ np.diag(grow)
        offset = np.array(at) * self.per_mm - linear @ np.array([w, h]) / 2 + linear @ np.array([0.5, 0.5]) - 0.5
        warp = np.column_stack([linear, offset - np.array([x0, y0])])
        room = (x1 - x0, y1 - y0)
        cover = _cover(corners * self.per_mm - np.array([x0, y0]), room)
        if shadow > 0:
            beside = _cover(corners * self.per_mm - np.array([x0, y0]) + 0.5 * self.per_mm, room)
            dark = 1 - shadow * cv2.GaussianBlur(beside, (0, 0), 0.4 * self.per_mm)
            for ground in self.canvas:
                ground[y0:y1, x0:x1] *= dark[..., None]
        for ground, image in zip(self.canvas, images, strict=True):
            laid = cv2.warpAffine(image, warp, room, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            part = ground[y0:y1, x0:x1]
            part += cover[..., None] * (laid - part)
        return np.asarray(corners)

    def flat(self, spectrum: Floats) -> Images:
        return [np.full((2, 2, 3), colour, np.float32) for colour in self.colours(spectrum)]


def _cover(corners_px: Floats, room: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Share of each pixel inside a convex outline given with pixel i covering i to i + 1."""
    x = np.arange(room[0], dtype=np.float32)[None, :] + 0.5
    y = np.arange(room[1], dtype=np.float32)[:, None] + 0.5
    cover = np.ones((room[1], room[0]), np.float32)
    for start, end in zip(corners_px, np.roll(corners_px, -1, axis=0), strict=True):
        along = (end - start) / np.linalg.norm(end - start)
        inside = (along[0] * (y - start[1]) - along[1] * (x - start[0])).astype(np.float32)
        np.minimum(cover, np.clip(inside + 0.5, 0, 1), out=cover)
    return cover


def photograph(
    sheet: Sheet,
    scene: Scene,
    rng: np.random.Generator,
    *,
    tiles: Mapping[str, Tile] | None = None,
    references: str | None = "24",
    stains: Mapping[str, float] | None = None,
    missing: Sequence[str] = (),
    swap: Sequence[tuple[str, str]] = (),
    turned: bool = False,
    page: npt.NDArray[np.uint8] | None = None,
    laid: Mapping[str, tuple[float, float, float]] | None = None,
    cut: Mapping[str, tuple[float, float]] | None = None,
    stated: References | None = None,
) -> Photo:
    """Photograph a tray.

    Parameters
    ----------
    sheet : Sheet
        Its patches must be those of `references` (`sheets.tray`).
    scene : Scene
    rng : numpy Generator
        For tiles and stains not given, how things lie, noise, the reference file's errors.
    tiles : mapping of tile code to Tile
        Random ones by default.
    references : "24", "6", "grey" or None
    stains : mapping of a cloth's code to the stain's share of dark, 0 to 1
    missing : codes of tiles and cloths, names of patches, "card", "marker 0" to "marker 3" (covered by a white slip)
    swap : pairs of patch names (or tile codes) that lie in each other's place
    turned : the card lies upside down
    page : (h, w) or (h, w, 3) uint8
        The page as printed (`printed.printed`); drawn here otherwise.
    laid : code to how far it lies off (mm, mm, degrees), instead of at random
    cut : tile code to its true size (mm, mm), instead of its cell's
    stated : References
        What the reference file says, to carry along; by default made from the spectra and `scene.chart_error`.
    """
    rooms = rng.spawn(4)
    tiles = dict(tiles) if tiles is not None else random_tiles(rooms[0], [cell.code for cell in sheet.tiles])
    for one, other in swap:
        if one in tiles and other in tiles:
            tiles[one], tiles[other] = tiles[other], tiles[one]
    view = view_of(scene, sheet.width, sheet.height)
    bench, matrix = _bench(sheet, scene, view, page)
    for at in range(4):
        if f"marker {at}" in missing:
            box = sheet.markers[at].box
            bench.lay(bench.flat(of_lab(scene.paper_tint)), box.middle, (box.width + 2, box.height + 2), 0.0)
    _lay_references(bench, sheet, scene, rooms[1], references, missing, swap, turned, laid or {})
    found = tuple(
        _lay_tile(bench, scene, rooms[1], tiles[cell.code], cell.code, cell.box, laid or {}, cut or {})
        for cell in sheet.tiles
        if cell.code not in missing
    )
    cloths = _lay_cloths(bench, sheet, scene, rooms[1], stains, missing)
    shot = Shot(scene, view, (sheet.width, sheet.height), bench.canvas, bench.per_mm)
    paper = tuple(bench.colours(of_lab(scene.paper_tint)))
    encoded = developed(shot, paper, tuple(bench.colours(of_lab(scene.table))), matrix, rooms[2])
    if stated is None:
        stated = references_of(
            references,
            illuminant=scene.illuminant,
            observer=scene.observer,
            error=scene.chart_error,
            rng=rooms[3],
            pitch=pitch_of(sheet),
            loose=sheet.card is None,
        )
    return Photo(encoded, {one.code: one for one in found}, cloths, stated, view, scene)


def _bench(sheet: Sheet, scene: Scene, view: View, page: npt.NDArray[np.uint8] | None) -> tuple[_Bench, Floats]:
    """The bare page, and the matrix from balanced camera colour to the picture."""
    first = light(scene.light, scene.kelvin)
    lights = [first] + ([light(scene.second, scene.second_kelvin)] if scene.second else [])
    camera = sensitivities(scene.camera)
    seen = [one[:, None] * camera for one in lights]
    share = scene.second_share / 2 if scene.second else 0.0
    white = seen[0].sum(axis=0) * (1 - share) + (seen[1].sum(axis=0) * share if scene.second else 0)
    gains = np.array(scene.balance) / np.mean(scene.balance) / white
    responses = tuple(one * gains for one in seen)
    mixed = first * (1 - share) + (lights[1] * share if scene.second else 0)
    training = patches("24").spectra
    matrix = develop_matrix(scene.camera, mixed, training, scene.profile, scene.saturation)
    middle = np.array([[sheet.width / 2, sheet.height / 2]])
    steps = view.to_px(middle + np.array([[1, 0], [0, 1]])) - view.to_px(middle)
    per_mm = float(np.clip(1.15 * np.sqrt(abs(np.linalg.det(steps))), 2.0, 18.0))
    size = (round(sheet.width * per_mm), round(sheet.height * per_mm))
    if page is None:
        ink = drawn(sheet, per_mm)
    else:
        grey = page if page.ndim == 2 else cv2.cvtColor(page[..., :3], cv2.COLOR_RGB2GRAY)
        smaller = grey.shape[1] > size[0]
        ink = 1 - (grey.astype(np.float32) / 255) ** 2.2
        ink = np.asarray(cv2.resize(ink, size, interpolation=cv2.INTER_AREA if smaller else cv2.INTER_LINEAR))
    ink = np.asarray(ink, np.float32)[..., None]
    canvas: Images = []
    for response in responses:
        paper, black = of_lab(scene.paper_tint) @ response, _INK @ response
        canvas.append((paper + ink * (black - paper)).astype(np.float32))
    return _Bench(canvas, per_mm, responses), matrix


def _off(
    rng: np.random.Generator, mm: float, degrees: float, given: Mapping[str, tuple[float, float, float]], code: str
) -> tuple[float, float, float]:
    """How far a thing lies off its place; drawn in any case, so that one given place leaves the others as they are."""
    at = rng.uniform(-1, 1, 3)
    return given.get(code, (float(at[0] * mm * 0.7), float(at[1] * mm * 0.7), float(at[2] * degrees)))


def _lay_references(
    bench: _Bench,
    sheet: Sheet,
    scene: Scene,
    rng: np.random.Generator,
    kind: str | None,
    missing: Sequence[str],
    swap: Sequence[tuple[str, str]],
    turned: bool,
    laid: Mapping[str, tuple[float, float, float]],
) -> None:
    known = patches(kind)
    if kind is None or not sheet.patches:
        return
    if tuple(cell.code for cell in sheet.patches) != known.names:
        raise ValueError(f"the sheet's patches are not those called {kind!r}")
    lies = {name: name for name in known.names}
    for one, other in swap:
        if one in lies and other in lies:
            lies[one], lies[other] = lies[other], lies[one]
    spectra = dict(zip(known.names, known.spectra, strict=True))
    turn = np.pi if turned else 0.0
    if sheet.card is not None and "card" not in missing:
        dx, dy, degrees = _off(rng, scene.card_mm, scene.card_degrees, laid, "card")
        turn += np.radians(degrees)
        centre = np.array(sheet.card.middle)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        size = (sheet.card.width, sheet.card.height)
        bench.lay(bench.flat(_CARD), (centre[0] + dx, centre[1] + dy), size, float(np.degrees(turn)), scene.shadow)
        for cell in sheet.patches:
            at = spin @ (np.array(cell.box.middle) - centre) + centre + np.array([dx, dy])
            flat = bench.flat(spectra[lies[cell.code]])
            bench.lay(flat, (at[0], at[1]), (cell.box.width, cell.box.height), float(np.degrees(turn)))
    elif sheet.card is None:
        cells = list(sheet.patches)
        for cell, shown in zip(cells, reversed(cells) if turned else cells, strict=True):
            dx, dy, degrees = _off(rng, scene.off_mm * 0.8, scene.off_degrees, laid, cell.code)
            if cell.code in missing:
                continue
            at = (cell.box.middle[0] + dx, cell.box.middle[1] + dy)
            flat = bench.flat(spectra[lies[shown.code]])
            bench.lay(flat, at, (cell.box.width, cell.box.height), degrees, scene.shadow)


def _lay_tile(
    bench: _Bench,
    scene: Scene,
    rng: np.random.Generator,
    tile: Tile,
    code: str,
    box: Box,
    laid: Mapping[str, tuple[float, float, float]],
    cut: Mapping[str, tuple[float, float]],
) -> TileTruth:
    size = cut.get(code, (box.width, box.height))
    dx, dy, degrees = _off(rng, scene.off_mm, scene.off_degrees, laid, code)
    maps = texture(tile, *size)
    fleck = tile.fleck if tile.fleck is not None else tile.palette[0]
    images: Images = []
    for response in bench.responses:
        image = painted(tile, maps, tile.palette @ response, fleck @ response, EDGE @ response)
        if tile.glare is not None:
            paper = of_lab(scene.paper_tint) @ response
            image = image + maps.glare[..., None] * (tile.glare.level * paper - image)
        images.append(image.astype(np.float32))
    outline = bench.lay(images, (box.middle[0] + dx, box.middle[1] + dy), size, degrees, scene.shadow)
    inset = round(_INSET * PER_MM)
    to_xyz = weights(scene.illuminant, scene.observer)
    xyz = face_xyz(tile, maps, to_xyz)[inset:-inset, inset:-inset]
    lab = lab_of_xyz(xyz.mean(axis=(0, 1)), scene.illuminant, scene.observer)
    rows, columns = xyz.shape[0] // 6, xyz.shape[1] // 6
    blocks = xyz[: rows * 6, : columns * 6].reshape(rows, 6, columns, 6, 3).mean(axis=(1, 3))
    blocks = lab_of_xyz(blocks, scene.illuminant, scene.observer)
    mottle = float(ciede2000(blocks.reshape(-1, 3), lab).mean())
    glare = float((maps.glare[inset:-inset, inset:-inset] > _GLARE_COUNTS).mean())
    return TileTruth(code, tile.kind, (float(lab[0]), float(lab[1]), float(lab[2])), mottle, glare, outline)


def _lay_cloths(
    bench: _Bench,
    sheet: Sheet,
    scene: Scene,
    rng: np.random.Generator,
    stains: Mapping[str, float] | None,
    missing: Sequence[str],
) -> dict[str, ClothTruth]:
    to_xyz = weights(scene.illuminant, scene.observer)
    labs: dict[str, Floats] = {}
    for cell in sheet.cloths:
        strength = float(np.exp(rng.uniform(np.log(0.01), np.log(0.8))))
        seed, dx, dy, degrees = int(rng.integers(2**31)), *_off(rng, 1.5, 4.0, {}, cell.code)
        size = (cell.box.width * float(rng.uniform(0.88, 0.97)), cell.box.height * float(rng.uniform(0.88, 0.97)))
        if cell.code in missing:
            continue
        if cell.code.startswith("clean"):
            strength = 0.0
        elif stains is not None:
            strength = stains[cell.code]
        share, threads = cloth.stain_map(strength, *size, seed)[..., None], cloth.weave(*size, seed)[..., None]
        images: Images = []
        for response in bench.responses:
            white, dark = cloth.WHITE @ response, cloth.STAIN @ response
            images.append(((white + share * (dark - white)) * threads).astype(np.float32))
        bench.lay(images, (cell.box.middle[0] + dx, cell.box.middle[1] + dy), size, degrees, scene.shadow * 0.5)
        white, dark = cloth.WHITE @ to_xyz, cloth.STAIN @ to_xyz
        seen = (white + share * (dark - white)) * threads
        inside = cloth.middle(share.shape[:2])
        labs[cell.code] = lab_of_xyz(seen[inside].mean(axis=0), scene.illuminant, scene.observer)
    clean = [lab for code, lab in labs.items() if code.startswith("clean")]
    if not clean:
        return {}
    mean = np.mean(clean, axis=0)
    return {
        code: ClothTruth(code, tuple(map(float, lab)), tuple(map(float, mean)), cloth.grade(lab, mean))  # type: ignore[arg-type]
        for code, lab in labs.items()
    }
