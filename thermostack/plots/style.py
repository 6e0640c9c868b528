"""One source of style: colours and hatches by the role of a part, inks, sizes, and how text is made to fit.

Colours are of the general palette of Okabe and Ito (2008, *Color universal design*), chosen so that people with any
colour vision can tell them apart; every area also has an outline, and a hatch or a label of its own.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import matplotlib as mpl
import numpy as np
from matplotlib import pyplot
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb, to_rgba
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

__all__ = [
    "EM",
    "FILL",
    "LABEL",
    "OUTLINE",
    "Color",
    "Ink",
    "Look",
    "Role",
    "axes_for",
    "chars",
    "decimals",
    "fit",
    "inches_of",
    "legend_above",
    "lines_a_unit",
    "look",
    "note_box",
    "plain",
    "points",
    "room_for",
    "set_title",
    "spaced",
    "text_inches",
]

Role = Literal["die", "interface", "solid", "coolant", "board", "hottest"]
Color: TypeAlias = "str | tuple[float, float, float] | tuple[float, float, float, float]"

OUTLINE = "#1f1f1f"
"""Of every filled area, and of its hatch: the fills are light enough for it on any ground."""
FILL: dict[Role, str] = {
    "die": "#D55E00",
    "interface": "#E69F00",
    "solid": "#C4C4C4",
    "coolant": "#56B4E9",
    "board": "#009E73",
    "hottest": "#CC79A7",
}
_HATCHES: dict[Role, tuple[str, ...]] = {
    "die": ("", "--", "||"),
    "interface": ("////", "\\\\\\\\", "xxxx", "....", "////\\\\"),
    "solid": ("", "--", "||", "++", "oo"),
    "coolant": ("..", "oo"),
    "board": ("++",),
    "hottest": ("xxx",),
}
LABEL = "small"
"""Size of text inside a picture; axis labels and titles have the sizes of the style in force."""
EM = 0.58
"""Width of a character relative to the size of the font, on the average."""
LINE = 1.35
"""Distance of lines of text relative to the size of the font."""


@dataclass(frozen=True)
class Look:
    """Fill and hatch of an area."""

    fill: Color
    hatch: str


@dataclass(frozen=True)
class Ink:
    """Colours of a picture: of text and lines, and of the ground behind them."""

    text: Color
    ground: Color


_OWN = Ink("#1a1a1a", "#ffffff")


def look(role: Role, index: int = 0) -> Look:
    """Return the look of the `index`-th part of a role: lighter from one to the next, each with another hatch."""
    paler = 0.55 * min(index, 3) / 3
    red, green, blue = (channel + (1.0 - channel) * paler for channel in to_rgb(FILL[role]))
    hatches = _HATCHES[role]
    return Look((red, green, blue), hatches[index % len(hatches)])


def axes_for(ax: Axes | None, width: float, height: float) -> tuple[Axes, Ink]:
    """Return the axes to draw in and the inks that can be read on them.

    Axes that are passed in keep their look. A figure of our own is opaque and white whatever the style in force, so
    that it can be read on a page of any colour; fonts and sizes are the style's.

    Parameters
    ----------
    ax : Axes, optional
    width, height : float
        Of a figure of our own. [in]
    """
    if ax is not None:
        return ax, Ink(ax.xaxis.label.get_color(), _ground(ax))  # type: ignore[arg-type]
    light = {
        "axes.facecolor": _OWN.ground,
        "axes.edgecolor": _OWN.text,
        "axes.labelcolor": _OWN.text,
        "axes.titlecolor": _OWN.text,
        "text.color": _OWN.text,
    }
    # outside the context: with the first figure a notebook sets up how figures are shown, which its end would undo
    figure = pyplot.figure(figsize=(width, height), layout="constrained", facecolor=_OWN.ground)
    with mpl.rc_context(light):  # type: ignore[arg-type]
        ax = figure.subplots()
        ax.set_title("", loc="left")
    # ticks are made later, outside the context
    ax.tick_params(which="both", colors=_OWN.text, grid_color="#b0b0b0")
    ax.grid(False)
    ax.spines[["top", "right"]].set_visible(False)
    # a style may have files saved on another ground (savefig.facecolor, savefig.transparent): stay white there too
    sheet = Rectangle((0, 0), 1, 1, transform=figure.transFigure, facecolor=_OWN.ground, linewidth=0, zorder=-100)
    sheet.set_in_layout(False)
    figure.add_artist(sheet)
    return ax, _OWN


def _ground(ax: Axes) -> Color:
    """Return what is seen behind the axes: their own face, or the figure's where they are transparent."""
    face = to_rgba(ax.get_facecolor())
    figure = ax.get_figure()
    return to_rgba(figure.get_facecolor()) if face[3] == 0 and figure is not None else face


# -- text


def plain(text: str, limit: int | None = None) -> str:
    """Return text of one line that is drawn as it is written: no mathematics between dollar signs, no control signs.

    Parameters
    ----------
    text : str
    limit : int, optional
        Characters to which it is shortened.
    """
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if limit is not None and len(line) > limit:
        line = line[: max(limit - 1, 1)].rstrip() + "…"
    return line.replace("$", r"\$")


def fit(text: str, width: int, lines: int = 2) -> str:
    """Return text broken into at most so many lines of `width` characters, shortened where it is longer."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    broken = textwrap.wrap(line, max(width, 4), max_lines=lines, placeholder=" …", break_on_hyphens=False)
    return "\n".join(plain(one, max(width, 4)) for one in broken)


def decimals(value: float, digits: int) -> str:
    """Return a number to so many decimals, with a true minus sign and without one before zero."""
    text = f"{value:.{digits}f}"
    return f"{0.0:.{digits}f}" if float(text) == 0 else text.replace("-", "−")


def points(size: str | float = LABEL) -> float:
    """Return a font size in points."""
    return float(FontProperties(size=size).get_size_in_points())


def text_inches(text: str, size: str | float = LABEL) -> float:
    """Return about how wide the longest line of a text is. [in]"""
    return max(map(len, text.splitlines()), default=0) * EM * points(size) / 72


def chars(inches: float, size: str | float = LABEL) -> int:
    """Return about how many characters fit into a width."""
    return int(inches * 72 / (EM * points(size)))


def lines_a_unit(ax: Axes) -> int:
    """Return how many lines of a tick label of y fit into one unit of y, at least one."""
    low, high = ax.get_ylim()
    size = points(mpl.rcParams["ytick.labelsize"])
    return max(1, int(inches_of(ax)[1] * 72 / (high - low) / (1.2 * size)))


def inches_of(ax: Axes) -> tuple[float, float]:
    """Return width and height of axes, as laid out so far. [in]"""
    box = ax.get_window_extent()
    dpi = ax.figure.dpi
    return box.width / dpi, box.height / dpi


def set_title(ax: Axes, ink: Ink, what: str, label: str) -> None:
    """Write what is drawn, and of which stack, above the axes."""
    room = chars(inches_of(ax)[0], mpl.rcParams["axes.titlesize"])
    one = plain(f"{what}: {label}" if label else what)
    ax.set_title(
        one if len(one) <= room else f"{fit(what, room, 1)}\n{fit(label, room, 1)}", loc="left", color=ink.text
    )


def legend_above(ax: Axes, ink: Ink, entries: list[tuple[Any, str]], low: float, high: float) -> None:
    """Put a legend into the axes, above what lies between `low` and `high`, and set the limits of y to make room.

    Parameters
    ----------
    entries : list of (artist, str)
        The text is shortened where it has to be.
    """
    width, height = inches_of(ax)
    handle = 3.2 * points() / 72
    longest = max(chars(width - handle), 4)
    texts = [plain(text, longest) for _, text in entries]
    columns = max(1, int(width / (max(text_inches(text) for text in texts) + handle)))
    rows = -(-len(texts) // columns)
    share = min(0.6, (rows * LINE * points() / 72 + 0.16) / height)
    ax.set_ylim(low, low + (high - low) / (1 - share))
    # a leading blank, as matplotlib takes what begins with an underscore for something to be left out
    legend = ax.legend([artist for artist, _ in entries], [f" {text}" for text in texts], loc="upper left",
                       ncols=columns, fontsize=LABEL, frameon=False, handlelength=1.8, handletextpad=0.2,
                       borderaxespad=0.4, borderpad=0.0, labelspacing=0.3, columnspacing=1.0)  # fmt: skip
    for text in legend.get_texts():
        text.set_color(ink.text)


def room_for(ends: list[tuple[float, str]], low: float, width: float) -> float:
    """Return the upper limit of x at which each text, written beyond its end, still fits into axes so wide [in]."""
    limits = [low + (end - low) / (1 - min(0.75, (text_inches(text) + 0.12) / width)) for end, text in ends]
    return max(limits)


def note_box(pad: float = 0.15) -> dict[str, object]:
    """Return the ground of a label that lies on a filled area."""
    return {"boxstyle": f"round,pad={pad}", "facecolor": "#ffffff", "edgecolor": "none", "alpha": 0.9}


def spaced(wanted: NDArray[np.float64], pitch: float, low: float, high: float) -> NDArray[np.float64]:
    """Return places nearest to the wanted ones that stand at least `pitch` apart, between `low` and `high`.

    Parameters
    ----------
    wanted : ndarray, shape (n,)
        Rising.
    pitch : float
        Reduced where there is no room for it.
    """
    if len(wanted) < 2:
        return np.clip(wanted, low, high)
    pitch = min(pitch, (high - low) / (len(wanted) - 1))
    steps = pitch * np.arange(len(wanted))
    # least squares with places in order, after the steps between them are taken out
    level = isotonic_regression(wanted - steps).x
    return np.asarray(np.clip(level, low, high - steps[-1]) + steps)
