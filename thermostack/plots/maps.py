"""Maps: temperature on a die or layer, heat flux into an interface, a section through the field."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from ..model.rects import at, rectangle, within
from ..units import ValueLike
from .style import LABEL, OUTLINE, Ink, axes_for, decimals, note_box, plain, set_title

if TYPE_CHECKING:
    from ..field import Map
    from ..prediction import Prediction

__all__ = ["flux_map", "section_map", "temperature_map"]

SHADES = "cividis"
"""A published scale, even in lightness, that people with any colour vision read alike."""


def temperature_map(
    prediction: Prediction, part: str | None = None, ax: Axes | None = None, *, depth: float = 0.0
) -> Axes:
    """Draw the temperature on a level of a die or layer, with regions outlined and the hottest point marked.

    Parameters
    ----------
    prediction : Prediction
        By the layered solver.
    part : str, optional
        A die or layer; the hottest die if not given.
    ax : Axes, optional
        Drawn in; a figure is made if not given.
    depth : float
        Share of the part's thickness from below: 0 is the active face of a die.

    Returns
    -------
    Axes
    """
    part = part or prediction.hottest_die
    ax, ink = axes_for(ax, 6.4, 5.2)
    drawn = prediction.field.temperature(part, depth)
    _draw(ax, ink, drawn)
    if depth == 0.0:
        _outline_regions(ax, prediction, part)
    hot = prediction.field.hottest(part, depth)
    _mark(ax, drawn, hot.x, hot.y, f"hottest {decimals(hot.temperature, 1)} °C")
    set_title(ax, ink, f"Temperature of {part}", prediction.stack.label)
    return ax


def flux_map(prediction: Prediction, interface: str, ax: Axes | None = None) -> Axes:
    """Draw the heat flux that enters an interface (or, as ``"coolant"``, the coolant) from below.

    Parameters
    ----------
    prediction : Prediction
        By the layered solver.
    interface : str
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    ax, ink = axes_for(ax, 6.4, 5.2)
    drawn = prediction.field.flux(interface)
    _draw(ax, ink, drawn)
    mean = float(np.nanmean(drawn.values))
    text = f"mean {decimals(mean, 2)} W/mm²"
    ax.annotate(text, (0.02, 0.98), xycoords="axes fraction", va="top", fontsize=LABEL, color=OUTLINE, bbox=note_box())
    set_title(ax, ink, f"Heat flux into {interface}", prediction.stack.label)
    return ax


def section_map(prediction: Prediction, y: ValueLike = "0 mm", ax: Axes | None = None) -> Axes:
    """Draw the temperature in a section along x through the stack; heights are stretched.

    Parameters
    ----------
    prediction : Prediction
        By the layered solver.
    y : value
        Where the plane lies, from the centre of the stack.
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes
    """
    slices = prediction.field.section(y)
    ax, ink = axes_for(ax, 7.4, 4.4)
    shades = Normalize(min(s.values.min() for s in slices), max(s.values.max() for s in slices))
    mesh: Any = None
    for s in slices:
        z = s.bottom + s.thickness * s.depth
        mesh = ax.pcolormesh(s.x, z, s.values.T, shading="gouraud", cmap=SHADES, norm=shades, rasterized=True)
        width, corner = float(s.x[-1] - s.x[0]), (float(s.x[0]), s.bottom)
        ax.add_patch(Rectangle(corner, width, s.thickness, fill=False, edgecolor=OUTLINE, linewidth=0.8))
        middle = (float(s.x.mean()), s.bottom + 0.5 * s.thickness)
        ax.annotate(plain(s.part, 24), middle, ha="center", va="center", fontsize=LABEL, color=OUTLINE, bbox=note_box())
    _scale(ax, ink, mesh, "temperature [°C]")
    ax.margins(0.02, 0.04)
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("height [mm], stretched")
    set_title(ax, ink, f"Section at y = {plain(str(y))}", prediction.stack.label)
    return ax


def _draw(ax: Axes, ink: Ink, drawn: Map) -> None:
    mesh = ax.pcolormesh(drawn.x, drawn.y, drawn.values.T, shading="gouraud", cmap=SHADES, rasterized=True)
    filled = np.ma.masked_invalid(drawn.values.T)
    if float(filled.max() - filled.min()) > 0.05:
        lines = ax.contour(drawn.x, drawn.y, filled, levels=6, colors="#ffffff", linewidths=0.8)
        lines.set_path_effects([withStroke(linewidth=1.8, foreground=OUTLINE)])
        ax.clabel(lines, fontsize=LABEL, fmt=lambda v: f"{v:.4g}")
    _scale(ax, ink, mesh, f"{drawn.quantity} [{drawn.unit}]")
    ax.set_aspect("equal")
    ax.set_xlabel("x [mm]")
    ax.set_ylabel("y [mm]")


def _scale(ax: Axes, ink: Ink, mesh: Any, label: str) -> None:
    bar = ax.figure.colorbar(mesh, ax=ax)
    bar.set_label(label, color=ink.text)
    bar.ax.tick_params(colors=ink.text)
    bar.outline.set_edgecolor(ink.text)


def _outline_regions(ax: Axes, prediction: Prediction, part: str) -> None:
    values = prediction.point.values
    die = next((d for d in prediction.stack.dies if d.name == part), None)
    for region in die.power.regions if die is not None else ():
        rect = within(rectangle(part), region.name, die.mirrored)  # type: ignore[union-attr]
        x0, y0, x1, y1 = (1e3 * edge for edge in at(rect, values))
        outline = Rectangle((x0, y0), x1 - x0, y1 - y0, fill=False, edgecolor="#ffffff", linewidth=1.0, linestyle="--")
        outline.set_path_effects([withStroke(linewidth=2.2, foreground=OUTLINE)])
        ax.add_patch(outline)
        ax.annotate(plain(region.name, 14), (x0, y1), xytext=(2, -2), textcoords="offset points", va="top",
                    fontsize="x-small", color=OUTLINE, bbox=note_box(0.08))  # fmt: skip


def _mark(ax: Axes, drawn: Map, x: float, y: float, text: str) -> None:
    ax.plot([x], [y], marker="P", markersize=9, color="#ffffff", markeredgecolor=OUTLINE, linestyle="none", zorder=5)
    right = x > 0.5 * (drawn.x[0] + drawn.x[-1])
    ax.annotate(text, (x, y), xytext=(-10 if right else 10, -14), textcoords="offset points", fontsize=LABEL,
                ha="right" if right else "left", color=OUTLINE, bbox=note_box(), zorder=6)  # fmt: skip
