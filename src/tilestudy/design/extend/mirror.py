"""The mirror image of a two-level plan. Fold-over: Box & Hunter (1961), Technometrics 3:311."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tilestudy.design.extend.common import key_of, shared
from tilestudy.design.layout import Load
from tilestudy.errors import PlanError
from tilestudy.study.language import capital, count
from tilestudy.study.records import Plan, Setting, Study, Tile
from tilestudy.study.units import show


def mirror(study: Study, plan: Plan, live: Sequence[Tile], word: str) -> tuple[list[Load], list[str]]:
    """Return for each batch one with every tile at the other end of every factor."""
    tiles = [tile for tile in live if not tile.reference]
    other: dict[str, dict[Setting, Setting]] = {}
    for factor in study.factors:
        found = sorted({tile.settings[factor.name] for tile in tiles}, key=lambda one: (isinstance(one, str), one))
        ends = list(factor.levels) if len(factor.levels) == 2 else found
        if len(ends) != 2 or not set(ends) <= set(found):
            raise PlanError(
                f"{capital(factor.label)} is made at {count(len(found), 'setting')} "
                f"({', '.join(show(one, factor) for one in found)}), and a mirror image needs the two ends of every factor. "
                f'Nearest: "tilestudy extend {study.name} --batches {len(plan.batches)}" repeats the plan, or '
                f'"tilestudy extend {study.name} --tiles {len(tiles)}" adds the tiles that would teach most.'
            )
        other[factor.name] = {ends[0]: ends[1], ends[1]: ends[0]}
    loads: list[Load] = []
    there: Counter[object] = Counter()
    images: Counter[object] = Counter()
    ruled_out = inside = 0
    for batch in plan.batches:
        share = []
        for tile in tiles:
            if tile.batch != batch.code:
                continue
            if any(tile.settings[name] not in pair for name, pair in other.items()):
                inside += 1  # a centre or star tile has no image of its own
                continue
            there[key_of(tile.settings)] += 1
            image = {name: pair[tile.settings[name]] for name, pair in other.items()}
            if not study.allows(image):
                ruled_out += 1
                continue
            images[key_of(image)] += 1
            share.append({factor.name: image[factor.name] for factor in study.factors_set_per("tile")})
        if share:
            loads.append(({f.name: other[f.name][batch.settings[f.name]] for f in shared(study)}, share))
    if not loads:
        raise PlanError(
            "Every mirror image is ruled out by [[never]], or no tile stands at the ends. Nothing was added."
        )
    says = [
        f"Each {word} is the mirror image of one there is: every tile has every factor at its other end (a fold-over)."
    ]
    if set(images) <= set(there):
        says.append(
            "Every mirror image was in the plan already, so these tiles make sure what it tells, and tell nothing apart that it "
            "mixes up."
        )
    elif not ruled_out:
        says.append("They tell each factor from the pairs of others that the tiles before could mistake for it.")
    if inside:
        says.append(f"{count(inside, 'tile')} between the ends {'has' if inside == 1 else 'have'} no mirror image.")
    if ruled_out:
        says.append(f"{count(ruled_out, 'mirror image')} left out, ruled out by [[never]].")
    return loads, says
