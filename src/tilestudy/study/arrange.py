"""The order of settings, and of tiles on a sample board: by their per-batch settings, then by their own. Pure."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

from tilestudy.study.language import capital, plural
from tilestudy.study.records import Factor, Plan, Setting, Study
from tilestudy.study.units import show


def in_order(settings: Iterable[Setting], factor: Factor) -> list[Setting]:
    """Sort settings: numbers by size, names as the study file lists them, then those it does not list.

    >>> in_order({"worn", "new", "odd"}, Factor("wax", ("new", "worn")))
    ['new', 'worn', 'odd']
    """

    def rank(setting: Setting) -> tuple[int, float, str]:
        if not isinstance(setting, str):
            return 0, setting, ""
        return 1, factor.levels.index(setting) if setting in factor.levels else len(factor.levels), setting

    return sorted(settings, key=rank)


def ranker(
    rows: Collection[Mapping[str, Setting]], factors: Sequence[Factor]
) -> Callable[[Mapping[str, Setting]], tuple[int, ...]]:
    """Return a sort key for rows of settings, from the settings that occur among them."""
    order = {factor.name: in_order({row[factor.name] for row in rows}, factor) for factor in factors}
    return lambda row: tuple(order[factor.name].index(row[factor.name]) for factor in factors)


def board_rows(
    study: Study, plan: Plan, settings: Mapping[str, Mapping[str, Setting]], word: str
) -> list[tuple[str, list[str]]]:
    """Return the rows of a sample board: a heading, and the codes of its tiles in order.

    Parameters
    ----------
    settings : mapping of str to mapping
        Planned settings of each tile to show, by its code.
    word : str
        What the bench calls a batch.
    """
    fixed = [factor for factor in study.factors if factor.set_per != "tile"]
    free = [factor for factor in study.factors if factor.set_per == "tile"]
    row_of, turn_of = ranker(settings.values(), fixed), ranker(settings.values(), free)
    batch_of = {tile.code: tile.batch for tile in plan.tiles}
    rows = []
    for key in sorted({row_of(one) for one in settings.values()}):
        codes = sorted(
            (code for code, one in settings.items() if row_of(one) == key),
            key=lambda code: (turn_of(settings[code]), batch_of[code]),
        )
        text = ", ".join(f"{factor.label} {show(settings[codes[0]][factor.name], factor)}" for factor in fixed)
        batches = [batch.code for batch in plan.batches if any(batch_of[code] == batch.code for code in codes)]
        which = f"{word if len(batches) == 1 else plural(word)} {', '.join(batches)}"
        rows.append((f"{capital(text)} ({which})" if text else "All tiles", codes))
    return rows
