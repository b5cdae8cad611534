"""Measurements that come from no form (a photo, an instrument's file), checked as the rows of a form are."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date

from tilestudy.errors import WrongRequestError
from tilestudy.study.forms.cells import listing, not_known, quoted
from tilestudy.study.forms.measured import LAB_RANGES, differing, out_of_range, series_named
from tilestudy.study.forms.reader import Series
from tilestudy.study.records import STAGES, Cloth, Kept, Plan, Reading, Study


def checked(
    records: Sequence[Reading | Cloth],
    study: Study,
    plan: Plan,
    today: date,
    source: str,
    there: Sequence[Kept] = (),
    protocols: Collection[str] = (),
) -> tuple[tuple[Reading | Cloth, ...], tuple[str, ...]]:
    """Return the records with codes, series and protocols spelt as they are kept, and what is wrong with them.

    Parameters
    ----------
    records : sequence of Reading or Cloth
    study : Study
    plan : Plan
        The tiles that hold now.
    today : date
        Later dates are faults.
    source : str
        Where the records come from: photo or file names.
    there : sequence of Kept
        The colour readings that hold now. A series keeps to one set of conditions; a reading that these records replace
        does not count when it is of the same source or instrument, so tiles can be measured again in better photos.
    protocols : collection of str
        Known rub protocols.

    Returns
    -------
    records : tuple of Reading or Cloth
        Those of tiles in the plan.
    faults : tuple of str
        A sentence or two each, every one once.

    Examples
    --------
    >>> from tilestudy.study.records import Batch, Tile
    >>> plan = Plan("s", 1, (Batch("B1", 1, 1),), (Tile("A3", "B1", 1, 1, {}),))
    >>> seen = [Reading("a3", "cured", date(2026, 11, 24), 31, 14, 9), Reading("A4", "cured", date(2026, 11, 24), 50, 2, 3)]
    >>> good, faults = checked(seen, Study("s", "", "other", ()), plan, date(2026, 11, 24), "IMG_2.jpg")
    >>> [one.tile for one in good], faults
    (['A3'], ('tile "A4" is not known. Did you mean A3?',))
    """
    codes = {tile.code.casefold(): tile.code for tile in plan.tiles}
    kept = [one.record for one in there if isinstance(one.record, Reading)]
    names = list(dict.fromkeys(one.series for one in kept))
    faults: list[str] = []
    good: dict[tuple[str, ...], Reading | Cloth] = {}
    for one in records:
        code = codes.get(one.tile.casefold())
        if code is None:
            faults.append(not_known("tile", one.tile, list(codes.values()), f"The study has {len(codes)} tiles."))
            continue
        if one.on > today:
            faults.append(f"tile {code} is dated {one.on.isoformat()}, which is later than today. Check the date.")
        record: Reading | Cloth = replace(one, tile=code)
        if isinstance(record, Reading):
            faults += _of_a_colour(record)
            try:
                record = replace(record, series=series_named(record.series, names))
                names.append(record.series)
            except WrongRequestError as error:
                faults.append(str(error))
        else:
            record = replace(record, protocol=_protocol(record.protocol, study, protocols))
            faults += _of_a_cloth(record, protocols)
        if record.key in good:
            again = "Number the spots, or measure" if isinstance(record, Reading) else "Measure"
            faults.append(f"tile {code} is there twice. {again} it once.")
        good[record.key] = record
    readings = [one for one in good.values() if isinstance(one, Reading)]
    return tuple(good.values()), tuple(dict.fromkeys([*faults, *_of_the_series(readings, source, there)]))


def _of_a_colour(one: Reading) -> list[str]:
    faults = [
        f"tile {one.tile}: {out_of_range(column, f'{value:.4g}')}"
        for column, value in zip(LAB_RANGES, (one.L, one.a, one.b), strict=True)
        if not LAB_RANGES[column][0] <= value <= LAB_RANGES[column][1]
    ]
    if one.stage not in STAGES:
        faults.append(f"stage {quoted(one.stage)} is not known. Write one of {listing(STAGES, 'or')}.")
    return faults


def _protocol(text: str, study: Study, protocols: Collection[str]) -> str:
    planned = "" if study.rub is None else study.rub.protocol
    wanted = text or planned
    return next((one for one in (planned, *protocols) if one.casefold() == wanted.casefold()), wanted)


def _of_a_cloth(one: Cloth, protocols: Collection[str]) -> list[str]:
    faults = []
    if not 1 <= one.grade <= 5 or not all(map(math.isfinite, (*one.stain, *one.clean))):
        faults.append(f"tile {one.tile}: its cloth could not be graded. Take the photo again.")
    if one.condition not in ("dry", "wet"):
        faults.append(f"condition {quoted(one.condition)} is not known. Write dry or wet.")
    if not one.protocol:
        faults.append("there is no protocol. Write which rub test was done, or add [rub] to the study file.")
    elif protocols and one.protocol not in protocols:
        faults.append(not_known("protocol", one.protocol, protocols, f"Known: {', '.join(protocols)}."))
    return faults


def _of_the_series(readings: Sequence[Reading], source: str, there: Sequence[Kept]) -> list[str]:
    """Compare the conditions of each reading with those of the others of its series, kept or new."""
    new = {one.key: one for one in readings}
    others = []
    for kept in there:
        old = kept.record
        if not isinstance(old, Reading):
            continue
        takes_its_place = new.get(old.key)
        again = takes_its_place is not None and (
            kept.source == source or takes_its_place.instrument == old.instrument != ""
        )
        if not again:
            others.append(old)
    known = series_there(others)
    faults = []
    for one in readings:
        wanted = known.setdefault(one.series, one.conditions)
        faults += differing(one.conditions, wanted, one.series)
    return faults


def series_there(readings: Sequence[Reading]) -> dict[str, Series]:
    """Return the conditions of each series: by the first reading of it."""
    found: dict[str, Series] = {}
    for one in readings:
        found.setdefault(one.series, one.conditions)
    return found
