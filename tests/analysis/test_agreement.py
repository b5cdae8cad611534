"""What is said of the scorers: good, fair and poor agreement, strictness, and when it cannot be told."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.analysis.wear.agreement import agreement
from tilestudy.analysis.wear.reliability import krippendorff_alpha

SCORERS = ("KL", "MB", "TR")


def scores(noise, lean=0.0, tiles=24, scorers=SCORERS, seed=0):
    """Grades in half steps; the first scorer leans by so much."""
    rng = np.random.default_rng(seed)
    true = rng.uniform(1.5, 5.0, tiles)
    rows = []
    for k, scorer in enumerate(scorers):
        grade = true + rng.normal(0, noise, tiles) + (lean if k == 0 else 0.0)
        rows += [(f"T{i}", scorer, g) for i, g in enumerate(np.clip(np.round(2 * grade) / 2, 1, 5))]
    return pd.DataFrame(rows, columns=["tile", "scorer", "y"])


def told(frame):
    return agreement(frame, "the dry rub grade", "plaques").sentences()


def test_good_agreement_and_a_strict_scorer_take_two_sentences():
    """The figure with its range and meaning, the tiles within half a step; then who is strict, in counts of tiles."""
    assert told(scores(0.2, lean=-0.5)) == (
        "The three scorers (KL, MB and TR) agree well on the dry rub grade (Krippendorff's alpha 0.88, 0.75 to 0.94, where 1 is "
        "full agreement and 0 is chance): on 19 of 24 tiles they lie within half a step of each other.",
        "KL is strict: lower than the others on 24 of 24 tiles, higher on none; KL scored every tile, so settings are still "
        "compared fairly, but how many tiles pass depends on who scores.",
    )


def test_poor_agreement_says_what_to_do():
    """Chance level: look together and score again."""
    (sentence,) = told(scores(2.5))
    assert sentence.startswith(
        "The three scorers (KL, MB and TR) agree poorly on the dry rub grade (Krippendorff's alpha "
    )
    assert sentence.endswith("settle what each step looks like, and score again.")


def test_one_scorer_cannot_be_checked():
    """Ask a second person."""
    assert told(scores(0.2, scorers=("KL",))) == (
        "Only KL gave the dry rub grade, so whether another pair of eyes would give the same cannot be told: ask a second person "
        'to score the same cloths, and enter them with "tilestudy rub plaques".',
    )


def test_scorers_of_different_tiles_cannot_be_compared():
    """Each scored tiles of their own."""
    frame = scores(0.2, scorers=("KL", "MB"))
    own = frame[(frame["tile"].str[1:].astype(int) % 2 == 0) == (frame["scorer"] == "KL")]
    assert told(own)[0].startswith("No tile was scored by two people, too few to tell whether KL and MB agree")


def test_one_grade_for_all_shows_nothing():
    """All grades 5: no alpha, and no claim."""
    (sentence,) = told(scores(0.2).assign(y=5.0))
    assert sentence == (
        "The three scorers (KL, MB and TR) gave 5 to each of the 24 tiles they share. Whether they would agree on a tile that wears "
        "cannot be told from that."
    )


def test_tiles_alike_are_not_called_poor_agreement():
    """Grades of 4.5 and 5 by turns: close, and uninformative."""
    frame = scores(0.2)
    frame["y"] = np.where(np.random.default_rng(3).uniform(size=len(frame)) < 0.2, 4.5, 5.0)
    assert told(frame)[0].startswith(
        "The three scorers (KL, MB and TR) are close on the dry rub grade: on 24 of 24 tiles"
    )


def test_a_strict_scorer_who_skipped_tiles_favours_them():
    """Then settings are not compared fairly."""
    frame = scores(0.2, lean=-0.5)
    frame = frame[(frame["scorer"] != "KL") | (frame["tile"] != "T3")]
    assert told(frame)[1].endswith(
        "tiles that KL did not score look better for it, so let the same people score every tile."
    )


def test_no_grades_no_agreement():
    """Nothing, gaps, or a frame of something else."""
    empty = pd.DataFrame({"tile": ["A"], "scorer": ["KL"], "y": [np.nan]})
    assert agreement(empty) is None
    assert agreement(empty.iloc[:0]) is None
    assert agreement(pd.DataFrame({"tile": ["A"]})) is None


@given(st.integers(0, 10_000), st.floats(0.0, 2.0), st.floats(0.0, 0.7))
@settings(max_examples=40, deadline=None)
def test_only_the_order_of_grades_counts(seed, noise, gaps):
    """Stretching the scale leaves the ordinal alpha alone; so do the order of tiles and of scorers; JSON stays finite."""
    frame = scores(noise, seed=seed)
    frame["y"] = frame["y"].where(np.random.default_rng(seed).uniform(size=len(frame)) > gaps)
    wide = frame.pivot(index="scorer", columns="tile", values="y").to_numpy()
    alpha = krippendorff_alpha(wide)
    if alpha is not None:
        assert krippendorff_alpha(np.exp(wide)[::-1, ::-1]) == pytest.approx(alpha, abs=1e-12)
        assert alpha <= 1.0
    found = agreement(frame)
    if found is not None:
        json.dumps(found.as_dict(), allow_nan=False)
        assert all(sentence.endswith(".") for sentence in found.sentences())
