"""How sure predictions would be over two factors: a grey map with labelled contours and a mark for each tile's settings.

Lighter is surer. Made like `charts`: no pyplot, the same input gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tilestudy.design.prediction import PredictionPicture
from tilestudy.design.terms import Floats
from tilestudy.paper.charts import INK, Kind, _style
from tilestudy.study.records import Factor, Setting
from tilestudy.study.units import plain_number, show_number, show_unit


def prediction_error(
    picture: PredictionPicture,
    *,
    tile_sd: float,
    unit: str,
    width_mm: float = 110,
    height_mm: float = 80,
    kind: Kind = "svg",
) -> bytes:
    """Draw the standard error of predictions.

    Parameters
    ----------
    picture : PredictionPicture
    tile_sd : float
        Standard deviation between tiles of one batch, in `unit`; errors are shown in it.
    unit : str
    width_mm, height_mm : float
        Size on paper, mm.
    kind : "svg" or "png"

    Returns
    -------
    bytes
        The picture.
    """
    error = picture.error * tile_sd
    label = f"standard error of a prediction{f', {unit}' if unit else ''}"

    with _style():
        figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), layout="constrained", dpi=150)
        FigureCanvasAgg(figure)
        ax = figure.subplots()
        if picture.up is None:
            _line(ax, picture, error, label)
        else:
            _map(ax, picture, picture.up, error, label)
        _ticks(picture.across, ax.set_xticks)
        ax.set_xlabel(_titled(picture.across))
        out = io.BytesIO()
        metadata: dict[str, Any] = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        figure.savefig(out, format=kind, metadata=metadata, facecolor="white")
    return out.getvalue()


def _line(ax: Axes, picture: PredictionPicture, error: Floats, label: str) -> None:
    """Draw the error over the only factor that varies."""
    ax.plot(_places(picture.across, picture.x), error[0], color=INK, marker="" if picture.across.scaled else "o")
    ax.set_ylim(0, 1.15 * float(error.max()))
    ax.set_ylabel(label)


def _map(ax: Axes, picture: PredictionPicture, up: Factor, error: Floats, label: str) -> None:
    """Draw the error over two factors, with contours where both have a scale, else with numbers."""
    x, y = _places(picture.across, picture.x), _places(up, picture.y)
    low, high = float(error.min()), float(error.max())
    span = max(high - low, 0.05 * high, 1e-9)
    ax.grid(visible=False)
    ax.pcolormesh(
        x, y, error, shading="nearest", rasterized=True, cmap="Greys", vmin=low - 0.3 * span, vmax=high + 1.2 * span
    )
    if picture.across.scaled and up.scaled and high > 1.02 * low:
        lines = ax.contour(x, y, error, levels=5, colors=INK, linewidths=0.9)
        ax.clabel(lines, fmt=lambda value: plain_number(value, 2), fontsize=8)
    else:
        for column in _some(picture.across, len(x)):
            for row in _some(up, len(y)):
                text = plain_number(float(error[row, column]), 2)
                ax.annotate(text, (x[column], y[row]), (8, 6), textcoords="offset points", fontsize=8)
    spots = [(_places(picture.across, [one])[0], _places(up, [other])[0]) for one, other in picture.tiles]
    ax.scatter(
        [spot[0] for spot in spots],
        [spot[1] for spot in spots],
        s=26,
        facecolor="white",
        edgecolor=INK,
        zorder=5,
        clip_on=False,
    )
    ax.set_title(f"{label}; rings: tiles", fontsize=9, loc="left")
    _ticks(up, ax.set_yticks)
    ax.set_ylabel(_titled(up))


def _some(factor: Factor, steps: int) -> range:
    """Steps to write a number at: each named level, or both ends and the middle of a scale."""
    return range(0, steps, max(1, (steps - 1) // 2) if factor.scaled else 1)


def _places(factor: Factor, settings: Sequence[Setting]) -> list[float]:
    """Return where settings lie on an axis: on the factor's own scale, or by number for named levels."""
    if not factor.scaled:
        return [float(factor.levels.index(one)) for one in settings]
    numbers = np.array([float(one) for one in settings])
    logged = factor.spacing == "geometric" and float(factor.levels[0]) > 0
    return [float(one) for one in (np.log(numbers) if logged else numbers)]


def _ticks(factor: Factor, put: Callable[..., Any]) -> None:
    put(_places(factor, factor.levels), [show_number(level, factor) for level in factor.levels])


def _titled(factor: Factor) -> str:
    return f"{factor.label}, {show_unit(factor.shown)}" if factor.shown else factor.label
