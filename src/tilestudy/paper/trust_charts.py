"""Charts for the curious: what the model leaves over, tile by tile and batch by batch, and what hangs on a single tile.

Made like `charts`: no pyplot, the same input gives the same bytes, readable in grey. Points carry the tile's own colour inside a
dark edge where it is known. Each SVG holds a title and a description for people who cannot see it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from xml.sax.saxutils import escape

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tilestudy.analysis.trust.influence import CARRIES
from tilestudy.analysis.trust.records import TileTrust, Trust
from tilestudy.paper.charts import INK, PALE, SOFT, Kind, _render, _wrapped
from tilestudy.study.language import capital, count, plural

SIZE = (120.0, 84.0)
"""Width and height on paper, mm."""

MOST_BARS = 14
_FAR = 2.0  # standard errors from which a tile's code is written in ink

Colours = Mapping[str, str]
"""Tiles' own colours by code, as sRGB: "#6b4a3a"."""


def charts(trust: Trust, colours: Colours | None = None) -> dict[str, bytes]:
    """Draw all charts of one response that have something to show.

    Parameters
    ----------
    trust : Trust
    colours : mapping of str to str, optional
        Tiles' own colours.

    Returns
    -------
    dict of str to bytes
        File names and SVG pictures.
    """
    name, its = trust.name, colours or {}
    drawn = {f"{name}-residuals.svg": residuals(trust, its)}
    if len(trust.batches) > 1:
        drawn[f"{name}-{_file(trust)}.svg"] = by_batch(trust, its)
    if len(trust.envelope) > 3:
        drawn[f"{name}-quantiles.svg"] = quantiles(trust, its)
    if any(tile.moves for tile in trust.tiles):
        drawn[f"{name}-influence.svg"] = influence(trust)
    return drawn


def tables(trust: Trust) -> dict[str, str]:
    """Return the tables of one response as CSV, by file name."""
    found = {
        f"{trust.name}-tiles.csv": trust.tile_table(),
        f"{trust.name}-{_file(trust)}.csv": trust.batch_table(),
        f"{trust.name}-left-out.csv": trust.influence_table(),
        f"{trust.name}-checks.csv": trust.check_table(),
    }
    return {name: csv_text(table) for name, table in found.items() if len(table)}


def csv_text(table: pd.DataFrame) -> str:
    """Write a table as CSV, numbers to six digits."""
    return str(table.to_csv(index=False, float_format="%.6g", lineterminator="\n"))


def residuals(trust: Trust, colours: Colours, kind: Kind = "svg") -> bytes:
    """Draw how far each tile came out off the model, over what the model predicts for it."""

    def draw(ax: Axes) -> None:
        ax.axhline(0.0, color=SOFT, linewidth=0.9, zorder=1)
        for tile in trust.tiles:
            _point(ax, tile.predicted, tile.residual, tile, colours)
        ax.margins(0.08, 0.12)
        ax.set_xlabel(f"predicted {_axis(trust)}")
        ax.set_ylabel(f"observed less predicted{_unit(trust)}")

    far = [tile.tile for tile in trust.tiles if abs(tile.standardised or 0.0) >= _FAR]
    return _picture(
        draw,
        kind,
        f"{_name(trust)}: tiles beside the model",
        f"{count(len(trust.tiles), 'tile')}; farthest off: {', '.join(far) or 'none beyond two standard errors'}.",
    )


def by_batch(trust: Trust, colours: Colours, kind: Kind = "svg") -> bytes:
    """Draw each tile less what its settings predict, batch by batch, with the mean of each batch."""
    luck = {one.batch: one.luck for one in trust.batches}
    place = {one.batch: i for i, one in enumerate(trust.batches)}

    def draw(ax: Axes) -> None:
        ax.axhline(0.0, color=SOFT, linewidth=0.9, zorder=1)
        seen: dict[str, list[float]] = {batch: [] for batch in luck}
        for tile in sorted(trust.tiles, key=lambda one: (one.batch, one.residual, one.tile)):
            if tile.batch not in luck:
                continue
            values = seen[tile.batch]
            values.append(tile.residual + luck[tile.batch])
            shift = ((len(values) * 0.618034) % 1 - 0.5) * 0.4  # the golden ratio spreads neighbours without chance
            _point(ax, place[tile.batch] + shift, values[-1], tile, colours)
        for batch, values in seen.items():
            mean, x = sum(values) / len(values), place[batch]
            ax.plot([x - 0.33, x + 0.33], [mean, mean], color=INK, linewidth=2.0, zorder=4, solid_capstyle="butt")
        ax.set_xticks(range(len(luck)), [_wrapped(batch, 8, 2) for batch in luck])
        ax.margins(0.06, 0.12)
        ax.set_xlabel(f"{trust.batch_word} (bar: its mean)")
        ax.set_ylabel(f"observed less what the settings say{_unit(trust)}")

    return _picture(
        draw,
        kind,
        f"{_name(trust)}: {plural(trust.batch_word)} beside each other",
        "; ".join(f"{one.batch}: luck {one.luck:+.3g}" for one in trust.batches) + ".",
    )


def quantiles(trust: Trust, colours: Colours, kind: Kind = "svg") -> bytes:
    """Draw the tiles' standardised departures in order, over normal quantiles, with where 95 of 100 studies put them."""
    known = sorted(
        (one for one in trust.tiles if one.standardised is not None), key=lambda one: one.standardised or 0.0
    )
    normal, low, high = ([each[i] for each in trust.envelope] for i in range(3))

    def draw(ax: Axes) -> None:
        ax.fill_between(normal, low, high, color="#e3e3e3", linewidth=0, zorder=1)
        ax.plot(normal, normal, color=SOFT, linewidth=0.9, linestyle=(0, (5, 3)), zorder=2)
        for x, tile, bottom, top in zip(normal, known, low, high, strict=True):
            value = tile.standardised or 0.0
            _point(ax, x, value, tile, colours, named=abs(value) >= 1.0 and not bottom <= value <= top)
        ax.margins(0.06, 0.08)
        ax.set_xlabel("normal quantile")
        ax.set_ylabel("off the other tiles, in standard errors")

    out = [t.tile for t, (_, a, b) in zip(known, trust.envelope, strict=True) if not a <= (t.standardised or 0.0) <= b]
    return _picture(
        draw,
        kind,
        f"{_name(trust)}: does the scatter look normal? (band: 95 of 100 sound studies, point by point)",
        f"Outside the band: {', '.join(out) or 'none'}.",
    )


def influence(trust: Trust, kind: Kind = "svg") -> bytes:
    """Draw how far leaving out single tiles and batches moves an effect, in half-widths of its range; the largest only."""
    tiles = [("", one.tile, one.moves) for one in trust.tiles]
    batches = [(f"{trust.batch_word} ", one.batch, one.moves) for one in trust.batches if len(trust.batches) > 1]
    most = [
        (f"{kind_word}{code}: {term.replace('_', ' ').replace(' x ', ' × ')}", moves[term])
        for kind_word, code, moves in (*tiles, *batches)
        if moves
        for term in [max(moves, key=lambda one: abs(moves[one]))]
    ]
    bars = sorted(most, key=lambda one: -abs(one[1]))[:MOST_BARS]

    def draw(ax: Axes) -> None:
        for i, (label, move) in enumerate(bars):
            y = len(bars) - 1 - i
            ax.barh(
                y,
                move,
                height=0.62,
                color=SOFT if abs(move) >= CARRIES else PALE,
                edgecolor=INK,
                linewidth=0.6,
                zorder=3,
            )
            ax.annotate(
                label, (0.0, y), (-4 if move >= 0 else 4, 0), textcoords="offset points", fontsize=7,
                ha="right" if move >= 0 else "left", va="center", zorder=5,
            )  # fmt: skip
        reach = 1.15 * max([CARRIES, *(abs(move) for _, move in bars)])
        ax.set_xlim(-reach, reach)
        ax.axvline(0.0, color=INK, linewidth=0.9, zorder=4)
        for edge in (-CARRIES, CARRIES):
            ax.axvline(edge, color=SOFT, linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
        ax.yaxis.set_visible(False)
        ax.spines["left"].set_visible(False)
        ax.set_xlabel("move of the effect when left out, in half-widths of its range")

    told = "; ".join(f"{label} {move:+.2g}" for label, move in bars[:5])
    return _picture(
        draw, kind, f"{_name(trust)}: what hangs on a single tile or {trust.batch_word}", f"Largest: {told}."
    )


# --- pieces ------------------------------------------------------------------------------------------------------------------


def _point(ax: Axes, x: float, y: float, tile: TileTrust, colours: Colours, named: bool | None = None) -> None:
    """A tile as a point in its own colour, its code beside it: in ink where it lies far off, else pale and small.

    With `named` the code is written only where that is true.
    """
    ax.plot(
        [x], [y], marker="o", linestyle="none", markersize=4.8, markerfacecolor=colours.get(tile.tile, "white"),
        markeredgecolor=INK, markeredgewidth=0.7, zorder=3,
    )  # fmt: skip
    if named is False:
        return
    far = abs(tile.standardised or 0.0) >= _FAR if named is None else True
    ax.annotate(
        tile.tile, (x, y), (3.5, 2.5), textcoords="offset points", fontsize=8 if far else 6,
        fontweight=600 if far else 400, color=INK if far else SOFT, zorder=5 if far else 2,
    )  # fmt: skip


def _name(trust: Trust) -> str:
    """The response at the head of a title: "Resistance", but "a*"."""
    return capital(trust.label) if trust.label[:2].isalpha() else trust.label


def _file(trust: Trust) -> str:
    """The word for batches in a file name: "main-plots"."""
    return "-".join(plural(trust.batch_word).split())


def _axis(trust: Trust) -> str:
    return f"{trust.label}{_unit(trust)}" if trust.unit != trust.label else trust.label


def _unit(trust: Trust) -> str:
    return f", {trust.unit}" if trust.unit else ""


def _picture(draw: Callable[[Axes], None], kind: Kind, title: str, told: str) -> bytes:
    """Draw on one pair of axes under a title; an SVG also gets the title and a description as text for screen readers."""

    def whole(figure: Figure) -> None:
        ax = figure.subplots()
        draw(ax)
        ax.set_title(_wrapped(title, 70, 2), fontsize=9, loc="left")

    picture = _render(whole, *SIZE, kind, 150)
    if kind != "svg":
        return picture
    head, mark, rest = picture.partition(b"<svg ")
    opening, close, body = rest.partition(b">")
    words = f"\n <title>{escape(title)}</title>\n <desc>{escape(told)}</desc>".encode()
    return head + mark + b'role="img" ' + opening + close + words + body
