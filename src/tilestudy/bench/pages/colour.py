"""The photo page: take or upload photos of a tray, look at what was measured, then keep it or do it again."""

from __future__ import annotations

import atexit
import secrets
import shutil
import tempfile
import threading
from dataclasses import dataclass, field
from pathlib import Path

from flask import Blueprint, Response, abort, current_app, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from tilestudy.bench.access import needs_mark
from tilestudy.bench.uploads import rewrite
from tilestudy.colour.srgb import lab_to_hex
from tilestudy.errors import TilestudyError, WrongRequestError
from tilestudy.studio.photographing import Looked
from tilestudy.study.records import PAPER_ONLY, STAGES
from tilestudy.tray.references import read_references

pages = Blueprint("colour", __name__)
MOST_LOOKS, MOST_IN_ALL = 3, 24
"""Looked-at photos of one device, and of all, that wait to be kept; the oldest goes when one more comes."""


@dataclass(frozen=True)
class Look:
    """Photos that were measured and wait for a yes or no."""

    study: str
    device: str
    photos: tuple[Path, ...]
    looked: Looked


@dataclass
class Looks:
    """Those that wait, in a folder of their own that goes with the server."""

    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="tilestudy-bench-")))
    waiting: dict[str, Look] = field(default_factory=dict)
    turn: threading.Lock = field(default_factory=threading.Lock)

    def add(self, look: Look) -> str:
        """Keep one more and return its number."""
        own = [number for number, one in self.waiting.items() if one.device == look.device]
        for number in [
            *own[: max(0, len(own) + 1 - MOST_LOOKS)],
            *list(self.waiting)[: len(self.waiting) + 1 - MOST_IN_ALL],
        ]:
            self.drop(number)
        number = secrets.token_hex(8)
        self.waiting[number] = look
        return number

    def of(self, number: str, study: str, device: str, *, keeper: bool) -> Look:
        """Return one that the visitor put there; a keeper may see any."""
        look = self.waiting.get(number)
        if look is None or look.study != study or (look.device != device and not keeper):
            raise WrongRequestError("These photos are not waiting here any more. Take them again.")
        return look

    def drop(self, number: str) -> None:
        """Forget one and its files."""
        look = self.waiting.pop(number, None)
        if look is not None:
            shutil.rmtree(look.photos[0].parent, ignore_errors=True)


def looks() -> Looks:
    """The app's own."""
    found = current_app.extensions.get("tilestudy-looks")
    if not isinstance(found, Looks):
        found = current_app.extensions["tilestudy-looks"] = Looks()
        atexit.register(shutil.rmtree, found.folder, ignore_errors=True)
    return found


@pages.get("/<study>/colour")
@needs_mark
def colour(study: str) -> str:
    """Ask for photos of a tray."""
    return _form(study)


@pages.post("/<study>/colour")
@needs_mark
def upload(study: str) -> AnyResponse | tuple[str, int]:
    """Measure the photos; what is wrong with them is told on the same page."""
    known = g.studio.study(study)
    stage = request.form.get("stage") or known.stage
    wanted = request.form.get("references", "")
    references = _reference_files(study).get(wanted)
    if wanted and references is None:
        return _form(study, "That file of reference patches is not here any more."), 409
    mine = looks()
    folder = Path(tempfile.mkdtemp(dir=mine.folder))
    try:
        photos = rewrite(
            request.files.getlist("photos"), folder, f"{g.studio.now():%Y%m%d-%H%M%S}-{secrets.token_hex(2)}"
        )
        with mine.turn:  # one at a time: measuring takes all there is of this machine
            looked = g.studio.look_at(study, photos, references, stage=stage, by=g.writer.mark)
    except TilestudyError as error:
        shutil.rmtree(folder, ignore_errors=True)
        return _form(study, str(error)), 409
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    number = mine.add(Look(study, g.writer.device, tuple(photos), looked))
    return redirect(url_for("colour.look", study=study, number=number))


@pages.get("/<study>/colour/<number>")
@needs_mark
def look(study: str, number: str) -> str:
    """Show what was measured."""
    from tilestudy.colour.adaptation import adapt
    from tilestudy.colour.difference import lab_of

    one = _mine(study, number)
    tiles = [
        (
            tile,
            lab_to_hex(lab_of(adapt(tile.lab, tray.calibrated.illuminant, tray.calibrated.observer))),
            tray.calibrated.kind == PAPER_ONLY[1],
        )
        for tray in one.looked.seen.trays
        for tile in tray.tiles
    ]
    return render_template(
        "colour_look.html", study=study, number=number, seen=one.looked.seen, tiles=tiles, photos=len(one.photos)
    )


@pages.get("/<study>/colour/<number>/<int:photo>.jpg")
@needs_mark
def picture(study: str, number: str, photo: int) -> Response:
    """Send the drawing of what was measured in one photo."""
    drawings = _mine(study, number).looked.drawings
    if not 0 <= photo < len(drawings):
        abort(404)
    return Response(drawings[photo], mimetype="image/jpeg")


@pages.post("/<study>/colour/<number>")
@needs_mark
def answer(study: str, number: str) -> AnyResponse | str:
    """Keep what was measured, with its photos in the study's folder; or throw it away."""
    one = _mine(study, number)
    if request.form.get("keep") != "yes":
        looks().drop(number)
        return redirect(url_for("colour.colour", study=study))
    home = g.studio.study_folder(study) / "photos"
    home.mkdir(exist_ok=True)
    kept = [home / path.name for path in one.photos]
    for path, to in zip(one.photos, kept, strict=True):
        shutil.copyfile(path, to)
    try:
        done = g.studio.keep_looked(one.looked, kept)
    except TilestudyError:
        for to in kept:
            to.unlink(missing_ok=True)
        raise
    looks().drop(number)
    return render_template("colour_kept.html", study=study, done=done)


def _mine(study: str, number: str) -> Look:
    return looks().of(number, study, g.writer.device, keeper=g.writer.keeper)


def _form(study: str, wrong: str = "") -> str:
    known = g.studio.study(study)
    return render_template(
        "colour.html", study=known, stages=STAGES, references=sorted(_reference_files(study)), wrong=wrong
    )


def _reference_files(study: str) -> dict[str, Path]:
    """The files of reference patches in this study's folder and in those that all share, by the way to them."""
    home, shared = g.studio.study_folder(study), g.studio.folder
    found = {}
    for path in sorted({*shared.glob("*.csv"), *g.studio.experiments.glob("*.csv"), *home.glob("*.csv")}):
        if path.stat().st_size > 200_000:
            continue
        try:
            read_references(path.read_text(encoding="utf-8-sig"), path.name)
        except (TilestudyError, UnicodeDecodeError, OSError):
            continue
        found[path.relative_to(shared).as_posix()] = path
    return found
