"""The timetable: hands, exact dips, order, bath life, what fits, what may be left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.design.test_layout import CLOCK, PLAQUES
from tilestudy.design.appraise import Noise, block_sd, fit_of
from tilestudy.design.layout import lay_out
from tilestudy.design.sessions import words
from tilestudy.design.sessions.build import timetable
from tilestudy.design.sessions.clock import Clock
from tilestudy.design.sessions.order import freedom, in_time
from tilestudy.design.sessions.schedule import Load, at_least, loads_of, schedule
from tilestudy.design.sessions.timetable import Event, Timetable
from tilestudy.design.sessions.work import TileWork, work_of
from tilestudy.design.terms import model_of
from tilestudy.errors import NotEnoughError, PlanError, WrongRequestError
from tilestudy.study.records import Factor, Limits, Made, Plan, Study, Tile, study_as_planned

NOISE = Noise(3.0, 3.0, "L*", "lightness")
USUAL = replace(PLAQUES, limits=Limits(minutes=150))


def told(study: Study, plan: Plan, clock: Clock = CLOCK, **how: object) -> Timetable:
    """The timetable of a plan of baths."""
    return timetable(study, plan, clock, NOISE, word="bath", **how)  # type: ignore[arg-type]


@st.composite
def loads(draw: st.DrawFn) -> tuple[list[Load], Clock]:
    """One to three batches of tiles with any dips and cycles, and any bench."""
    clock = Clock(
        draw(st.sampled_from([0, 45])),
        15,
        draw(st.sampled_from([0, 6, 15])),
        draw(st.sampled_from([0.5, 1, 2])),
        draw(st.sampled_from([0.3, 0.5, 1])),
        draw(st.sampled_from([0, 10])),
        draw(st.integers(0, 3)),
        draw(st.booleans()),
        hands=draw(st.integers(1, 3)),
    )
    study = Study("s", "", "p", (Factor("dip", (1.0, 9.0), "s"), Factor("scrub_cycles", (1.0, 2.0))))
    found = []
    for batch in range(draw(st.integers(1, 3))):
        many = draw(st.integers(1, 7))
        dips = draw(st.lists(st.sampled_from([0.0, 7.0, 30.0, 90.0, 600.0, 36000.0]), min_size=many, max_size=many))
        cycles = draw(st.lists(st.integers(1, 4), min_size=many, max_size=many))
        tiles = [
            Tile(f"{batch}-{n}", f"B{batch}", 1, n, {"dip": dip, "scrub_cycles": float(cycle)})
            for n, (dip, cycle) in enumerate(zip(dips, cycles, strict=True), start=1)
        ]
        found.append(Load(f"B{batch}", tuple(work_of(study, clock, tile) for tile in tiles)))
    return found, clock


def together(events: list[Event]) -> int:
    """Most of these events that go on at the same time."""
    return max((sum(o.at <= e.at < o.at + o.lasts for o in events) for e in events), default=0)


@settings(max_examples=50, deadline=None)
@given(loads())
def test_no_hands_are_used_twice_dips_are_exact_and_the_order_is_kept(case: tuple[list[Load], Clock]) -> None:
    """Whatever the bench: one thing at a time for each pair of hands, times in to the second, batches one after another."""
    work, clock = case
    found = schedule(work, clock)
    for hand in range(1, clock.hands + 1):
        assert together([one for one in found.events if one.hands == hand and one.lasts]) <= 1
    assert found.ends >= at_least(work, clock)
    for load, batch in zip(work, found.batches, strict=True):
        assert [one.tile for one in batch.tiles] == [one.tile for one in load.tiles]
        assert all(one.start < other.start for one, other in pairwise(batch.tiles))
        assert all(one.start >= batch.ready for one in batch.tiles)
        for planned, made in zip(load.tiles, batch.tiles, strict=True):
            assert [o - i for i, o in zip(made.ins, made.outs, strict=True)] == [
                o - i for i, o in zip(planned.ins, planned.outs, strict=True)
            ]
            whose = {e.hands for e in found.events if e.tile == made.tile and e.kind in ("in", "out") and e.hands}
            assert len(whose) == 1  # a tile stays with one person
        inside = [
            Event(i, o - i, "in")
            for one, tile in zip(batch.tiles, load.tiles, strict=True)
            for i, o in zip(one.ins, one.outs, strict=True)
            if not tile.left
        ]
        assert not clock.together or together([one for one in inside if one.lasts]) <= clock.together
    for (before, one), (_, other) in pairwise(zip(work, found.batches, strict=True)):
        last = max((t.outs[-1] for t, p in zip(one.tiles, before.tiles, strict=True) if not p.left), default=0)
        assert other.tiles[0].start >= last


def test_equal_stretches_interleave_without_a_pause() -> None:
    """12 tiles, a minute of hands, five minutes in, a minute of hands: blocks of six, nobody ever idle, 24 minutes.

    Identical coupled tasks with operations p and exact delay k p, blocks of k + 1: Orman & Potts (1997), Discrete Applied
    Mathematics 72:141 (from memory).
    """
    spans = ((0, 60), (360, 420))
    tiles = [TileWork(str(n), "B1", n, False, (0,), (360,), spans, 60, 0, 0, False, False) for n in range(12)]
    found = schedule([Load("B1", tuple(tiles))], Clock(0, 0, 0, 0))
    assert found.ends == at_least([Load("B1", tuple(tiles))], Clock(0, 0, 0, 0)) == 24 * 60


def test_the_usual_study_fits_its_slot_and_more_hands_end_it_sooner() -> None:
    """36 tiles in two sessions of 2 h 30; a second pair of hands never makes a session longer here."""
    plan = lay_out(USUAL, CLOCK, 7)
    one, two = told(USUAL, plan), told(USUAL, plan, replace(CLOCK, hands=2))
    assert [session.fits for session in one.sessions] == [True, True]
    assert one.says == ()
    assert all(b.ends < a.ends for a, b in zip(one.sessions, two.sessions, strict=True))
    assert not any(session.says for session in one.sessions)


def test_the_first_load_heats_while_all_prepare_and_hot_tiles_wait() -> None:
    """An oven is steady when the preparing ends; a tile is touched ten minutes after it comes out."""
    study = Study("s", "", "p", (Factor("dwell", (120.0, 360.0), "s"),), limits=Limits(minutes=150))
    clock = Clock(45, 15, 15, 1, 1, cool=10, heats=True)
    plan = lay_out(replace(study, batches_each=2), clock, 1)
    first = told(study, plan, clock).sessions[0]
    assert (first.batches[0].begun, first.batches[0].ready) == (30 * 60, 45 * 60)
    assert first.batches[1].begun >= first.batches[0].last_out
    for tile in first.tiles.values():
        assert tile.done >= tile.outs[-1] + 600


def test_hours_in_a_tub_come_out_after_the_session_and_nights_are_told() -> None:
    """The session ends without waiting; a time at night asks for another start."""
    study = Study("s", "", "p", (Factor("hours", (4 * 3600.0, 12 * 3600.0), "s"),), limits=Limits(minutes=150))
    clock = Clock(45, 15, 15, 1, 1)
    plan = lay_out(replace(study, batches_each=1), clock, 1)
    found = told(study, plan, clock, start=time(18, 30)).sessions[0]
    assert found.fits
    assert all(tile.outs[-1] > found.ends for tile in found.tiles.values())
    assert len(found.says) == 1
    assert found.says[0].startswith("Out when nobody may be there: ")
    assert "at 23:3" in found.says[0]
    assert not told(study, plan, clock, start=time(8, 30)).sessions[0].says


def test_an_order_that_ends_late_is_drawn_anew_among_those_that_do_not() -> None:
    """The tiles of each batch stay, reference tiles keep their places, and what the clock costs is said with its remedy."""
    loose = replace(USUAL, reference_tiles=True, limits=Limits())
    plan = lay_out(loose, CLOCK, 3)
    ends = [schedule(loads_of(loose, CLOCK, plan, one), CLOCK).ends for one in (1,)]
    tight = replace(loose, limits=Limits(minutes=(max(ends) - 60) / 60))
    fitted = in_time(tight, plan, CLOCK)
    assert fitted != plan
    assert fitted == in_time(tight, plan, CLOCK)
    assert [(b.code, sorted(t.code for t in fitted.tiles if t.batch == b.code)) for b in fitted.batches] == [
        (b.code, sorted(t.code for t in plan.tiles if t.batch == b.code)) for b in plan.batches
    ]
    assert [tile.reference for tile in fitted.tiles] == [tile.reference for tile in plan.tiles]
    assert told(tight, fitted).sessions[0].fits
    free = freedom(tight, fitted, CLOCK)[0]
    assert 0 < free.share < 1
    assert free.whole * 60 > ends[0] - 60
    said = told(tight, fitted).says[0]
    assert "in 10 random orders of its tiles end within" in said
    assert "would leave the order wholly to chance." in said
    assert in_time(loose, plan, CLOCK) is plan


@pytest.mark.parametrize("hands", [1, 2])
@pytest.mark.parametrize("minutes", range(95, 240, 15))
def test_what_the_layout_puts_in_a_session_fits_it_by_the_clock(minutes: int, hands: int) -> None:
    """The layout's own minutes and the timetable agree, whatever the slot and the hands."""
    clock = replace(CLOCK, hands=hands)
    study = replace(PLAQUES, limits=Limits(minutes=minutes))
    plan = in_time(study, lay_out(study, clock, 1), clock)
    assert all(session.fits for session in told(study, plan, clock).sessions)


def test_a_session_that_cannot_fit_says_what_would() -> None:
    """More hands, fewer tiles, another session or a longer slot, each tried."""
    plan = lay_out(USUAL, CLOCK, 3)
    short = replace(USUAL, limits=Limits(minutes=130))
    assert in_time(short, plan, CLOCK) == plan
    found = told(short, plan).sessions[0]
    assert not found.fits
    said = found.says[0]
    assert said.startswith(
        "Session 1 takes 2 h 18 min, 8 min more than its 2 h 10 min. What would fit: two pairs of hands"
    )
    for remedy in ("leaving out ", "baths B1 and B2 that day and B3 in a session more", "a slot of 2 h 20 min"):
        assert remedy in said
    gone = {one.tile for one in found.may_drop}
    fewer = replace(plan, tiles=tuple(tile for tile in plan.tiles if tile.code not in gone))
    assert told(short, fewer).sessions[0].fits


def test_a_bath_that_dies_and_one_too_full_are_told() -> None:
    """No tile goes through a dead bath unseen."""
    plan = lay_out(USUAL, CLOCK, 3)
    found = told(replace(USUAL, limits=Limits(minutes=150, tiles_per_batch=5)), plan, replace(CLOCK, life=15.0))
    says = found.sessions[0].says
    assert any(text.startswith("Bath B1 is good for 15 min and ") for text in says)
    assert any("Bath B1 has 6 tiles and may hold 5" in text for text in says)
    assert not told(USUAL, plan, replace(CLOCK, life=240.0)).sessions[0].says


def test_what_leaving_out_costs_is_what_fitting_without_the_tiles_gives() -> None:
    """The growth told equals generalised least squares of the same model on the tiles that are left."""
    plan = lay_out(USUAL, CLOCK, 3)
    model = model_of(study_as_planned(USUAL, plan), plan)
    sd = block_sd(model, NOISE)

    def widths(gone: set[str]) -> list[float]:
        kept = np.array([tile.code not in gone for tile in plan.tiles])
        less = replace(model, X=model.X[kept], batch=model.batch[kept], session=model.session[kept])
        covariance = fit_of(less, NOISE, sd).covariance
        mains = [(list(t.columns), p) for t in model.terms if t.kind == "main" for p in model.patterns(t)]
        return [float(np.sqrt(p @ covariance[np.ix_(c, c)] @ p)) for c, p in mains]

    dropped = told(USUAL, plan).sessions[0].may_drop
    assert 1 <= len(dropped) <= 4
    ratio = max(a / b for a, b in zip(widths({one.tile for one in dropped}), widths(set()), strict=True))
    assert dropped[-1].growth == pytest.approx(ratio, rel=1e-6)


def test_reference_tiles_go_first() -> None:
    """They show drift and carry no effect."""
    study = replace(USUAL, reference_tiles=True, limits=Limits(minutes=200))
    plan = lay_out(study, CLOCK, 3)
    first = told(study, plan).sessions[0].may_drop[0]
    assert plan.tile(first.tile).reference


def test_next_week_lists_what_is_left_and_a_batch_begun_is_planned_afresh() -> None:
    """A batch begun is never gone on with; those untouched are laid out; with nothing left it says so."""
    plan = lay_out(USUAL, CLOCK, 3)
    batch = [tile for tile in plan.tiles if tile.batch == "B1"]
    made = [Made(tile.code, date(2026, 11, 24)) for tile in batch[:4]]
    found = told(USUAL, plan, made=made)
    assert [[one.code for one in session.batches] for session in found.sessions] == [["B2", "B3"], ["B4", "B5", "B6"]]
    assert found.says[0] == "Of 36 tiles, 4 are made; left: baths B2, B3, B4, B5 and B6."
    assert found.says[1] == (
        f"Bath B1 was begun and {batch[4].code} and {batch[5].code} were not made. Another day's bath is a fresh one, never the "
        'same bath again: leave them out, or plan the bath afresh with "tilestudy extend plaques --repair B1".'
    )
    with pytest.raises(NotEnoughError) as caught:
        told(USUAL, plan, made=[Made(tile.code, date(2026, 11, 24)) for tile in plan.tiles])
    assert 'type "tilestudy timetable plaques --all"' in str(caught.value)
    with pytest.raises(WrongRequestError) as wrong:
        told(USUAL, plan, only=[4])
    assert str(wrong.value) == "plaques has no session 4; its plan has sessions 1 to 2."
    with pytest.raises(PlanError):
        told(USUAL, replace(plan, taken_in=True))


def test_the_list_reads_by_the_clock() -> None:
    """A held tile takes one line; out and in again one; the clock is that of the wall."""
    plan = lay_out(USUAL, CLOCK, 7)
    session = told(USUAL, plan, start=time(18, 30)).sessions[0]
    lines = words.table(session, "bath", 1)
    assert lines[:5] == [
        "time      tile  what",
        "18:30:00        prepare, until 19:15",
        "19:15:00        make up bath B1, ready 19:21",
        "19:21:00  E3    in for 10 s, 4 times; done 19:24:00",
        "19:24:00  A3    in",
    ]
    assert "19:24:30  A3    out (1 of 4), in 19:24:50" in lines
    assert lines[-1].startswith("20:3")
