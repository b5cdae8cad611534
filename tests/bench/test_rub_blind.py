"""What the rub page is given: a scorer's own grades, and nothing that could sway the eye."""

import json
import re
from pathlib import Path

from tests.bench.rub_studio import STUDY, rub_ready
from tilestudy.bench.app import make_app
from tilestudy.bench.pages.rub import sheet
from tilestudy.bench.serve import access_of
from tilestudy.outcomes.bench import RubTask, RubTile
from tilestudy.studio import Studio


def test_the_script_is_given_the_own_grades_only() -> None:
    """Codes, places and own grades; not the grade that passes, which would draw the eye to it."""
    task = RubTask(
        *("plaques", "Plaques", "KL", "dry", ("dry",), "Cloth rub", ("10 strokes to and fro.",), 4.0),
        tiles=(RubTile("K7", 1, 4.5, 10, False, 12), RubTile("M3", 2)),
    )
    assert sheet(task) == {
        **{"study": "plaques", "condition": "dry", "scorer": "KL", "strokes": 10},
        "tiles": [
            {"code": "K7", "number": 1, "grade": 4.5, "strokes": 10, "broke_through": False, "record": 12},
            {"code": "M3", "number": 2, "grade": None, "strokes": None, "broke_through": None, "record": 0},
        ],
    }


def test_the_page_tells_nothing_of_settings_baths_and_other_scorers(tmp_path: Path) -> None:
    """The page as it is sent: no factor, setting or bath of the study, no other scorer, and not the grade that passes."""
    codes = rub_ready(tmp_path)
    studio = Studio(tmp_path)
    for code in codes:
        studio.record("rub", STUDY, {"tile": code, "scorer": "XQ", "grade": "1.5", "condition": "dry"})
    studio.record("rub", STUDY, {"tile": codes[0], "scorer": "KL", "grade": "3.5", "condition": "dry"})
    visitor = make_app(tmp_path, access_of(tmp_path, shared=False)).test_client()
    token = re.search(r'name="token" value="([^"]+)"', visitor.get("/mark").text)
    assert token
    visitor.post("/mark", data={"token": token[1], "mark": "KL", "next": "/"})
    page = visitor.get(f"/{STUDY}/rub/dry").text
    given = json.loads(page.split('id="data">')[1].split("</script>")[0])
    assert {one["code"]: one["grade"] for one in given["tiles"]} == {**dict.fromkeys(codes), codes[0]: 3.5}
    assert set(given) == {"study", "condition", "scorer", "strokes", "tiles"}
    seen = re.sub(
        r"<meta[^>]*>|<svg.*?</svg>", "", page, flags=re.S
    )  # the visit's token and the scale's greys tell nothing
    for telling in ("strength", "dip", "g/L", "B1", "B2", "XQ", "1.5,", "passing", "session", "reference"):
        assert telling.casefold() not in seen.casefold(), telling
    for setting in ("90 s", "30 s", "1 g", "9 g"):
        assert setting not in seen


def test_a_condition_that_the_study_does_not_ask_for_is_no_page(tmp_path: Path) -> None:
    """A study without such a rub, and a study that is not there, are told in a sentence."""
    rub_ready(tmp_path)
    visitor = make_app(tmp_path, access_of(tmp_path, shared=False)).test_client()
    token = re.search(r'name="token" value="([^"]+)"', visitor.get("/mark").text)
    assert token
    visitor.post("/mark", data={"token": token[1], "mark": "KL", "next": "/"})
    for path in (f"/{STUDY}/rub/damp", "/nosuch/rub/dry"):
        answer = visitor.get(path)
        assert answer.status_code == 404
        assert "Traceback" not in answer.text
