"""Sentences about noise: batches, tiles, sessions, repeats, and whether a batch drifts."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tilestudy.analysis.findings import Drift, ResponseSpec
from tilestudy.analysis.numbers import decimals_for, number
from tilestudy.analysis.wording import amount, between, moves, size, unit_of
from tilestudy.study.language import capital, plural


def scatter(variance: float, spec: ResponseSpec) -> str:
    """Write a standard deviation with its unit."""
    root = math.sqrt(variance)
    return f"{number(root, decimals_for(root))}{unit_of(spec)}"


def next_to_nothing(variance: float | None, variances: Mapping[str, float | None]) -> bool:
    """Tell whether a variance is nought beside the largest of them."""
    return variance is not None and variance <= 1e-6 * max((one for one in variances.values() if one), default=1.0)


def noise_sentence(variance: Mapping[str, float | None], spec: ResponseSpec, batch_word: str, batches: int) -> str:
    """Say how far batches made alike and tiles made alike scatter; `batches` is 0 where each held one tile."""
    tile = variance.get("tile")
    batch = variance.get("batch")
    explain = "(standard deviation: about two in three lie closer to their average than this)"
    many = plural(batch_word)
    if tile is None and batch is None:
        return ""
    alike = f"made alike in one {batch_word}" if batches >= 2 else "made alike"
    if tile is None:
        tiles = ""
    elif next_to_nothing(tile, variance):
        tiles = f"tiles {alike} show no scatter that could be told from chance"
    else:
        tiles = f"tiles {alike} scatter by about {scatter(tile, spec)}"
    if batches < 2 or batch is None:
        return f"{capital(tiles)}{f' {explain}' if ' about ' in tiles else ''}." if tiles else ""
    if next_to_nothing(batch, variance):
        hide = f"{many} made alike show no scatter beyond that, though {batches} {many} can hide some"
        if not tiles:
            return ""
        return f"{capital(tiles)}{f' {explain}' if ' about ' in tiles else ''}; {hide}."
    baths = f"{capital(many)} made alike scatter by about {scatter(batch, spec)}"
    if not tiles:
        return f"{baths} {explain}."
    return (
        f"{baths}, and {tiles.replace(' scatter', '')} {explain}."
        if " about " in tiles
        else f"{baths} {explain}, and {tiles}."
    )


def session_sentence(variance: Mapping[str, float | None], spec: ResponseSpec, batch_word: str, sessions: int) -> str:
    """Say how far sessions differ beyond what their batches do; nothing where that was not measured."""
    session = variance.get("session")
    if session is None or sessions < 2:
        return ""
    beyond = f"beyond what their {plural(batch_word)} do" if variance.get("batch") is not None else "from each other"
    alike = f" beyond that of their {plural(batch_word)}" if variance.get("batch") is not None else ""
    if next_to_nothing(session, variance):
        return f"Sessions show no difference{alike}, though {sessions} sessions can hide some."
    rough = f", a rough figure from {sessions} sessions" if sessions < 4 else ""
    return f"Sessions differ by about {scatter(session, spec)} {beyond}{rough}."


def repeats_sentence(variance: Mapping[str, float | None], spec: ResponseSpec) -> str:
    """Say how far repeated measurements of one tile lie apart; nothing where each tile has one value."""
    repeats = variance.get("repeats")
    if repeats is None:
        return ""
    if next_to_nothing(repeats, variance):
        return "Repeated measurements of one tile show no scatter that could be told from chance."
    return f"Repeated measurements of one tile scatter by about {scatter(repeats, spec)}."


def drift_sentence(found: Drift, spec: ResponseSpec, batch_word: str) -> str:
    """Say whether a batch drifts from its first reference tile to its last."""
    many = plural(batch_word)
    run = f"from the first to the last reference tile of {'an' if batch_word[0] in 'aeiou' else 'a'} {batch_word}"
    limit = spec.smallest_that_matters
    if found.low is None or found.high is None:
        return (
            f"Whether {many} drift as they are used cannot be told: it takes reference tiles first and last in two "
            f"{many}, or first, middle and last in one."
        )
    if found.verdict == "drifts":
        how_much = size(found.effect, found.low, found.high, spec, limit)
        small = f", but by less than the {amount(limit, spec)} that would matter" if found.small and limit else ""
        return f"{capital(run)} {moves(spec, found.effect >= 0)} by {how_much}: {many} drift as they are used{small}."
    if found.verdict == "no sign":
        return (
            f"No sign that {many} drift as they are used: {run} the change is "
            f"{between(found.low, found.high, spec, limit)}, and {amount(limit or 0.0, spec)} would matter."
        )
    return (
        f"Whether {many} drift as they are used is not settled: {run} any change {between(found.low, found.high, spec)} "
        "fits these tiles."
    )
