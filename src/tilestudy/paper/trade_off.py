"""Closeness against durability: each tile in its own colour, what counts as right, and what relaxing a wish would buy.

Made like `charts`: no pyplot, the same input gives the same bytes, readable in grey.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tilestudy.analysis.choice.choice import Choice
from tilestudy.colour.srgb import lab_to_hex
from tilestudy.paper.charts import INK, PALE, SOFT, Kind, _render, _wrapped
from tilestudy.study.units import plain_number

_BESIDE = ((4.5, 3.0, (0.03, 0.02)), (4.5, -9.0, (0.03, -0.03)), (-14.0, 3.0, (-0.03, 0.02)), (-4.0, 5.5, (0.0, 0.04)))
"""Where a code may stand: points right and up of its dot, and the same in parts of the axes."""


@dataclass(frozen=True)
class TradePoint:
    """A tile: its code, how far its colour is off, its lowest median grade, and its colour as a hex number."""

    code: str
    off: float
    grade: float
    colour: str


@dataclass(frozen=True)
class TradeOff:
    """What is drawn: the tiles, the two limits, and the best chance (0 to 100) as wished and with a wish relaxed."""

    points: tuple[TradePoint, ...]
    off_label: str
    grade_label: str
    tolerance: float
    passing: float
    chances: tuple[tuple[str, float], ...]
    alt: str


def trade_off_content(choice: Choice) -> TradeOff | None:
    """Return what the chart shows, or None when colour or durability is not asked for."""
    right = choice.right
    if not right.asks_colour or right.passing is None or not choice.conditions:
        return None
    points = []
    for tile in choice.tiles:
        graded = [tile.grades[one] for one in choice.conditions if one in tile.grades]
        if tile.lab is not None and len(graded) == len(choice.conditions):
            points.append(TradePoint(tile.tile, float(right.off(tile.lab)), min(graded), lab_to_hex(tile.lab)))
    if not points:
        return None
    unit = "CIEDE2000" if right.lab is not None else "L*"
    chances = [("as wished", 100 * choice.options[0].chance)]
    for price in choice.prices:
        wider = price.tolerance > right.tolerance
        what = f"{plain_number(price.tolerance)} {unit} off" if wider else f"grade {plain_number(price.passing or 0.0)}"
        chances.append((what, 100 * price.chance))
    asked = choice.study.target.asked if choice.study.target is not None and right.lab is not None else "the darkest"
    good = sum(point.off <= right.tolerance and point.grade >= right.passing for point in points)
    told = ", ".join(f"{label} {value:.0f}" for label, value in chances)
    return TradeOff(
        tuple(points),
        f"off {asked}, {unit}",
        f"median rub grade ({', '.join(choice.conditions)})",
        right.tolerance,
        right.passing,
        tuple(chances),
        f"Chart of {len(points)} tiles by how far their colour is off and their rub grade; {good} are right in both. "
        f"Best chance in 100: {told}.",
    )


def trade_off(chart: TradeOff, *, width_mm: float = 176, height_mm: float = 80, kind: Kind = "svg") -> bytes:
    """Draw the tiles by closeness and durability, and beside them the best chance with each wish relaxed.

    Parameters
    ----------
    chart : TradeOff
    width_mm, height_mm : float
        Size on paper, mm.
    kind : "svg" or "png"

    Returns
    -------
    bytes
        The picture.
    """

    def draw(figure: Figure) -> None:
        left, right = figure.subplots(1, 2, width_ratios=[5, 3])
        _tiles(left, chart)
        _chances(right, chart)

    return _render(draw, width_mm, height_mm, kind, 150)


def _tiles(ax: Axes, chart: TradeOff) -> None:
    seen: dict[tuple[int, float], int] = {}
    drawn: list[tuple[float, float]] = []
    most = max(chart.tolerance, *(point.off for point in chart.points))
    ax.fill_between([0, chart.tolerance], chart.passing - 0.12, 5.3, color="#eeeeee", linewidth=0, zorder=0)
    ax.axvline(chart.tolerance, color=SOFT, linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
    ax.axhline(chart.passing - 0.12, color=SOFT, linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
    for point in sorted(chart.points, key=lambda p: (p.grade, p.off)):
        level = (round(point.off / max(most, 1e-9) * 40), point.grade)
        shift = 0.13 * seen.get(level, 0)  # tiles of one grade and distance stand above each other
        seen[level] = seen.get(level, 0) + 1
        ax.plot(
            [point.off],
            [point.grade + shift],
            marker="o",
            markersize=6.5,
            markerfacecolor=point.colour,
            markeredgecolor=INK,
            markeredgewidth=0.7,
            linestyle="none",
            zorder=3,
        )
        drawn.append((point.off / most, (point.grade + shift) / 4.0))
    for point, (x, y) in zip(sorted(chart.points, key=lambda p: (p.grade, p.off)), list(drawn), strict=True):
        if point.off > 2.5 * chart.tolerance and point.grade < chart.passing:
            continue
        others = [one for one in drawn if one != (x, y)]
        for right, up, place in _BESIDE:
            spot = (x + place[0], y + place[1])
            if all(
                abs(spot[0] - a) > 0.027 or abs(spot[1] - b) > 0.025 for a, b in others
            ):  # else left out: too crowded
                ax.annotate(
                    point.code,
                    (x * most, y * 4.0),
                    xytext=(right, up),
                    textcoords="offset points",
                    fontsize=7,
                    zorder=4,
                )
                drawn.append(spot)
                break
    ax.annotate("right", (0.04 * chart.tolerance, 5.24), fontsize=8, color=SOFT, va="top")
    ax.set_xlim(0, 1.06 * most)
    ax.set_ylim(0.8, max(5.3, 4.0 * max(y for _, y in drawn[: len(chart.points)]) + 0.15))
    ax.set_xlabel(_wrapped(chart.off_label, 50, 2))
    ax.set_ylabel(_wrapped(chart.grade_label, 30, 2))


def _chances(ax: Axes, chart: TradeOff) -> None:
    """Horizontal dots: the best chance as wished, and with each wish relaxed."""
    labels = [label for label, _ in chart.chances]
    values = [value for _, value in chart.chances]
    at = list(range(len(values)))[::-1]
    ax.hlines(at, 0, values, color=PALE, linewidth=1.2, zorder=2)
    ax.plot(values, at, marker="D", linestyle="none", color=INK, markersize=5, markerfacecolor="white", zorder=3)
    for y, label, value in zip(at, labels, values, strict=True):
        ax.annotate(f"{label}: {value:.0f}", (0, y), xytext=(0, 5), textcoords="offset points", fontsize=8)
    ax.set_xlim(0, 104)
    ax.set_ylim(-0.5, len(values) - 0.3)
    ax.grid(False)
    ax.set_xlabel("best chance, of 100 tiles")
    ax.tick_params(left=False, labelleft=False)
    ax.spines["left"].set_visible(False)
