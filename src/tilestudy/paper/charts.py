"""Charts for paper: main effects and one interaction, as SVG or PNG bytes, from the plain values of `content`.

Readable in grey and by colour-blind people: points carry the tile's own colour inside a dark edge, lines differ in
marker and dash and are labelled at their ends. The same input gives the same bytes. Nothing is drawn through
pyplot; matplotlib's settings are put back after each chart.
"""

from __future__ import annotations

import io
import math
import textwrap
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal, cast

import matplotlib as mpl
import seaborn as sns
from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, NullFormatter, NullLocator

from tilestudy.paper.content import Interaction, Level, MainEffects, Panel

FONTS = Path(__file__).parent / "fonts"
INK, SOFT, PALE = "#1a1a1a", "#595959", "#b3b3b3"
STYLES: tuple[tuple[str, str, str], ...] = (
    ("o", "-", INK),
    ("s", "--", "#595959"),
    ("^", ":", INK),
    ("D", "-.", "#595959"),
    ("v", "-", "#7f7f7f"),
    ("P", "--", INK),
)
"""Marker, line style and grey of the lines of an interaction, in order; they start again after the sixth."""

Kind = Literal["svg", "png"]
_LOCK = threading.Lock()
_MM = 1 / 25.4


def main_effects(
    chart: MainEffects, *, width_mm: float = 176, height_mm: float = 56, kind: Kind = "svg", dpi: int = 150
) -> bytes:
    """Draw one panel a factor, side by side, sharing the upright axis.

    Parameters
    ----------
    chart : MainEffects
        At least one panel.
    width_mm, height_mm : float
        Size on paper, mm.
    kind : "svg" or "png"
    dpi : int
        Dots per inch of a PNG.

    Returns
    -------
    bytes
        The picture.
    """

    def draw(figure: Figure) -> None:
        axes = figure.subplots(1, len(chart.panels), sharey=True, squeeze=False)[0]
        low, high = _reach(
            chart.limits,
            [level for panel in chart.panels for level in panel.levels],
            [point.value for panel in chart.panels for point in panel.points],
        )
        for i, (ax, panel) in enumerate(zip(axes, chart.panels, strict=True)):
            _panel(ax, panel, 66 // len(chart.panels))
            ax.set_ylim(low, high)
            if chart.line is not None:
                _level_line(ax, chart.line, named=i == len(chart.panels) - 1)
            if i:
                ax.tick_params(left=False)
                ax.spines["left"].set_visible(False)
        toward = f"\n{_wrapped(f'({chart.toward})', 30, 1)}" if chart.toward else ""
        axes[0].set_ylabel(_wrapped(chart.response, 30, 2) + toward)

    return _render(draw, width_mm, height_mm, kind, dpi)


def interaction(
    chart: Interaction, *, width_mm: float = 86, height_mm: float = 58, kind: Kind = "svg", dpi: int = 150
) -> bytes:
    """Draw one line for each setting of the other factor, told apart by marker and dash and labelled at its end.

    Parameters and return are those of `main_effects`.
    """

    def draw(figure: Figure) -> None:
        ax: Axes = figure.subplots()
        everything = [level for line in chart.lines for level in line.levels]
        low, high = _reach(chart.limits, everything, [])
        place = _scale(ax, chart.spacing, everything, 36)
        spread = 0.012 * (len(chart.lines) - 1)
        for i, line in enumerate(chart.lines):
            marker, dash, grey = STYLES[i % len(STYLES)]
            shift = 0.0 if len(chart.lines) == 1 else spread * (2 * i / (len(chart.lines) - 1) - 1)
            xs = [place(level.at, shift) for level in line.levels]
            _bars(ax, xs, line.levels, grey)
            ax.plot(
                xs,
                [level.mean for level in line.levels],
                marker=marker,
                linestyle=dash,
                color=grey,
                markerfacecolor="white" if i % 2 else grey,
                markeredgecolor=grey,
                markersize=5,
                linewidth=1.4,
                zorder=4,
            )
        ax.set_ylim(low, high)
        ends = [(line.levels[-1].mean, line.label) for line in chart.lines if line.levels]
        edge = max(level.at for level in everything)
        for (mean, label), y in zip(ends, _apart([mean for mean, _ in ends], 0.09 * (high - low)), strict=True):
            ax.annotate(
                _wrapped(label, 16, 2),
                xy=(place(edge, spread), mean),
                xytext=(place(edge, 0.09), y),
                fontsize=8,
                fontweight=600,
                va="center",
                ha="left",
                annotation_clip=False,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
                arrowprops={"arrowstyle": "-", "color": PALE, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 4},
            )
        ax.set_xlabel(_wrapped(_with_unit(chart.label, chart.unit), 36, 2))
        ax.set_ylabel(_wrapped(chart.response, 30, 2))
        ax.set_title(_wrapped(f"lines: {chart.lines_label}", 44, 1), loc="right", fontsize=8, color=SOFT)

    return _render(draw, width_mm, height_mm, kind, dpi)


# --- parts of a chart ------------------------------------------------------------------------------------------------


def _panel(ax: Axes, panel: Panel, letters: int) -> None:
    """One factor: its tiles as points, spread sideways, beside the predicted means; the panel is `letters` wide."""
    place = _scale(ax, panel.spacing, panel.levels, letters)
    by_place: dict[float, list[tuple[float, str]]] = {}
    for point in sorted(panel.points, key=lambda p: (p.at, p.value, p.code)):
        by_place.setdefault(point.at, []).append((point.value, point.colour))
    for at, found in by_place.items():
        for i, (value, colour) in enumerate(found):
            # the golden ratio spreads neighbours apart without chance
            shift = ((i * 0.618034) % 1 - 0.5) * 0.11 + 0.085
            ax.plot(
                [place(at, shift)],
                [value],
                marker="o",
                linestyle="none",
                markersize=4.6,
                markerfacecolor=colour or "white",
                markeredgecolor=INK,
                markeredgewidth=0.7,
                zorder=3,
            )
    xs = [place(level.at, -0.035) for level in panel.levels]
    _bars(ax, xs, panel.levels, INK)
    ax.plot(
        xs,
        [level.mean for level in panel.levels],
        marker="D",
        color=INK,
        markersize=4.8,
        linewidth=1.5,
        zorder=5,
        linestyle="none" if panel.spacing == "steps" else "-",
        markerfacecolor="white",
        markeredgewidth=1.3,
    )
    ax.set_xlabel(_wrapped(_with_unit(panel.label, panel.unit), letters, 2))


def _bars(ax: Axes, xs: Sequence[float], levels: Sequence[Level], grey: str) -> None:
    """Upright bars for the 95 % ranges that are known; a range of no width says nothing and is not drawn."""
    for x, level in zip(xs, levels, strict=True):
        if level.low is not None and level.high is not None and level.low < level.high:
            ax.errorbar(
                [x],
                [level.mean],
                yerr=[[max(level.mean - level.low, 0.0)], [max(level.high - level.mean, 0.0)]],
                fmt="none",
                ecolor=grey,
                elinewidth=1.3,
                capsize=3,
                capthick=1.3,
                zorder=4,
            )


def _level_line(ax: Axes, line: tuple[float, str], *, named: bool) -> None:
    """A dashed level line, its words at the right end of the last panel."""
    value, words = line
    ax.axhline(value, color=SOFT, linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
    if named:
        ax.annotate(
            _wrapped(words, 14, 2),
            xy=(1, value),
            xycoords=("axes fraction", "data"),
            xytext=(2, 0),
            textcoords="offset points",
            fontsize=8,
            color=INK,
            va="center",
            ha="left",
            annotation_clip=False,
        )


def _scale(ax: Axes, spacing: str, levels: Sequence[Level], letters: int) -> Callable[[float, float], float]:
    """Set the sideways axis with the levels as ticks; return place(at, shift), shift in parts of the axis."""
    shown = {level.at: level.shown for level in levels}
    ats = sorted(shown) or [0.0]
    log = spacing == "geometric" and ats[0] > 0
    low, high = (math.log(ats[0]), math.log(ats[-1])) if log else (ats[0], ats[-1])
    span = (high - low) or 1.0

    def place(at: float, shift: float) -> float:
        """Move `at` sideways by `shift` of the axis' length."""
        return math.exp(math.log(at) + shift * span) if log else at + shift * span

    if log:
        ax.set_xscale("log")
    each = max(5, letters // (len(ats) + 1))
    ax.set_xticks(ats, [_wrapped(shown[at], each, 3) for at in ats])
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_minor_formatter(NullFormatter())
    ax.set_xlim(place(ats[0], -0.16), place(ats[-1], 0.20))
    return place


def _reach(limits: tuple[float, float] | None, levels: Sequence[Level], values: Sequence[float]) -> tuple[float, float]:
    """Ends of the upright axis: `limits` with a margin, or all that is drawn with a margin."""
    if limits is not None:
        low, high = limits
    else:
        ends = [end for level in levels for end in (level.low, level.mean, level.high) if end is not None]
        low, high = min([*ends, *values]), max([*ends, *values])
    margin = 0.06 * ((high - low) or 1.0)
    return low - margin, high + margin


def _apart(places: Sequence[float], least: float) -> list[float]:
    """Shift labels up or down so that neighbours are at least `least` apart, near where they were."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    moved = list(places)
    for before, after in pairwise(order):
        moved[after] = max(moved[after], moved[before] + least)
    if not order:
        return moved
    centre = sum(moved) / len(moved) - sum(places) / len(places)
    return [place - centre for place in moved]


def _with_unit(label: str, unit: str) -> str:
    return f"{label}, {unit}" if unit else label


def _wrapped(text: str, letters: int, lines: int) -> str:
    """Text in at most so many lines of so many letters, an ellipsis where it was cut."""
    letters = max(letters, min(12, max(map(len, text.split()), default=0)))  # a word of common length stays whole
    return "\n".join(textwrap.wrap(text, letters, max_lines=lines, placeholder="\u2026"))


# --- style and output ------------------------------------------------------------------------------------------------


@cache
def _fonts() -> None:
    """Make our Inter known to matplotlib, once."""
    for path in sorted(FONTS.glob("*.otf")):
        font_manager.fontManager.addfont(path)


@contextmanager
def _style() -> Iterator[None]:
    """Seaborn's "ticks" style in our type and greys, for the length of one chart."""
    _fonts()
    settings: dict[str, Any] = {
        **sns.axes_style("ticks"),
        **sns.plotting_context("paper"),
        "font.family": "Inter",
        "font.size": 9,
        "axes.labelsize": 9,
        "xtick.labelsize": 9,
        "ytick.labelsize": 9,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "text.color": INK,
        "xtick.color": INK,
        "ytick.color": INK,
        "axes.grid": True,
        "axes.grid.axis": "y",
        "grid.color": "#dddddd",
        "grid.linewidth": 0.6,
        "axes.axisbelow": True,
        "axes.linewidth": 0.9,
        "xtick.major.size": 3,
        "ytick.major.size": 3,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "svg.fonttype": "none",
        "svg.hashsalt": "tilestudy",
        "text.parse_math": False,  # a dollar sign is a dollar sign
    }
    with _LOCK, mpl.rc_context(cast(Any, settings)):
        yield


def _render(draw: Callable[[Figure], None], width_mm: float, height_mm: float, kind: Kind, dpi: int) -> bytes:
    """Draw on a fresh figure of that size and return its bytes."""
    with _style():
        figure = Figure(figsize=(width_mm * _MM, height_mm * _MM), layout="constrained", dpi=dpi)
        FigureCanvasAgg(figure)
        draw(figure)
        for ax in figure.axes:
            ax.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
        out = io.BytesIO()
        metadata: dict[str, Any] = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        figure.savefig(out, format=kind, dpi=dpi, metadata=metadata, facecolor="white" if kind == "png" else "none")
        figure.clear()
    return out.getvalue()
