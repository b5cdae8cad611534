"""A tray sheet as the project prints it, as a picture to lay tiles on."""

from __future__ import annotations

from datetime import date

import cv2
import numpy as np
import numpy.typing as npt

from tests.paper.tray_pages import pictures
from tilestudy.paper.content import Masthead, Paper
from tilestudy.paper.tray_sheet import tray_sheets_content
from tilestudy.photo.markers import squares
from tilestudy.tray.sheet import Sheet


def printed(sheet: Sheet, ppi: float = 200) -> npt.NDArray[np.uint8]:
    """Return the typeset page of a sheet on A4 or Letter, (h, w, 3) RGB; `photograph` takes it as `page`."""
    masthead = Masthead(sheet.study, "", "", "", "0000-0000", date(2026, 3, 7), invented=True)
    content = tray_sheets_content(masthead, [sheet], squares, wet=False)
    paper: Paper = "us-letter" if sheet.paper == "us-letter" else "a4"
    picture = cv2.imdecode(np.frombuffer(pictures(content, paper, ppi)[0], np.uint8), cv2.IMREAD_COLOR)
    return np.asarray(picture, np.uint8)[..., ::-1]
