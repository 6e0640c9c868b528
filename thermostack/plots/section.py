"""The stack in cross-section, from the board to the coolant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from ..model import Model, Values, model_of
from ..model.rects import Rect, at, overlap, rectangle, within
from ..stack.parts import Die, Interface, Joint, Layer
from ..stack.stack import Stack
from .parts import board_text, coolant_text, drawn_height, in_unit, made_of, number, role_of
from .style import (
    LABEL,
    OUTLINE,
    Ink,
    Role,
    axes_for,
    chars,
    decimals,
    fit,
    inches_of,
    look,
    note_box,
    points,
    set_title,
    spaced,
    text_inches,
)

if TYPE_CHECKING:
    from ..prediction import Prediction

__all__ = ["cross_section"]

STACK_SHARE = 0.54
"""Share of the width that the stack takes; labels take the rest."""
COOLANT_HEIGHT = 0.5
BOARD_HEIGHT = 0.22
BOARD_GAP = 0.5
STRIP_HEIGHT = 0.09
LINES = 2
"""Of a label."""


@dataclass(frozen=True)
class Box:
    """A part as drawn: its edges along x [mm] and its height [not to scale]."""

    part: Die | Joint
    left: float
    right: float
    bottom: float
    top: float
    gaps: tuple[tuple[str, float, float], ...] = ()
    """Name and edges of each patch of an interface. [mm]"""
    behind: bool = False
    """Hidden by a die in front of it."""


@dataclass(frozen=True)
class Note:
    """A label: where its leader ends, and its two lines."""

    x: float
    y: float
    name: str
    detail: str


def cross_section(stack_or_prediction: Stack | Prediction, ax: Axes | None = None) -> Axes:
    """Draw a stack as seen from its front edge: board below, coolant on top, every part labelled.

    Widths and places along x are to scale; heights are not, so that bond lines can be seen. Of a prediction the drop
    over each part is written too. Dies that lie behind others are dashed.

    Parameters
    ----------
    stack_or_prediction : Stack or Prediction
    ax : Axes, optional
        Drawn in; a figure is made if not given.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        The stack as a whole makes no sense.
    """
    prediction = None if isinstance(stack_or_prediction, Stack) else stack_or_prediction
    if isinstance(stack_or_prediction, Stack):
        stack, model = stack_or_prediction, model_of(stack_or_prediction)
        values = model.values()
    else:
        point = stack_or_prediction.point
        stack, model, values = stack_or_prediction.stack, point.model, point.values
    boxes = _boxes(stack, model, values)
    wet = _millimetres(_wetted(stack, model), values)
    left, right = min(box.left for box in boxes), max(box.right for box in boxes)
    top = max(box.top for box in boxes)
    bottom = -(BOARD_GAP + BOARD_HEIGHT) if stack.board else 0.0
    drops = _drops(prediction)
    notes = [*_notes_of_parts(boxes, values, drops), *_notes_of_regions(stack, boxes, values)]
    notes += _notes_of_gaps(boxes, values)
    film = f"; drop {decimals(drops['coolant'], 1)} K" if drops else ""
    notes.append(Note(wet[1], top + COOLANT_HEIGHT / 2, "coolant", coolant_text(stack.coolant, values) + film))
    if stack.board:
        notes.append(Note(right, bottom + BOARD_HEIGHT / 2, "board path", board_text(stack.board, values)))
    notes.sort(key=lambda note: note.y)

    own = ax is None
    ax, ink = axes_for(ax, 8.4, max(3.2, 1.2 + 0.42 * len(notes)))
    if own:
        ax.spines["left"].set_visible(False)
        ax.spines["bottom"].set_bounds(left, right)
    width = right - left
    ax.set_xlim(left - 0.03 * width, left - 0.03 * width + 1.06 * width / STACK_SHARE)
    ax.set_ylim(bottom - 0.15, top + COOLANT_HEIGHT + 0.15)
    per_inch = (ax.get_xlim()[1] - ax.get_xlim()[0]) / inches_of(ax)[0]
    for box in boxes:
        _draw(ax, ink, box)
    for die in stack.dies:
        _draw_regions(ax, die, values)
    if len(stack.dies) > 1:
        _name_dies(ax, boxes, per_inch)
    _draw_coolant(ax, wet, top)
    if stack.board:
        _draw_board(ax, ink, (left, right), bottom, [b for b in boxes if isinstance(b.part, Die)])
    _write(ax, ink, notes, right + 0.11 * width)
    ax.set_xticks([tick for tick in MaxNLocator(6).tick_values(left, right) if left <= tick <= right])
    ax.set_yticks([])
    ax.set_xlabel("x [mm], to scale", loc="left")
    ax.set_ylabel("heights not to scale")
    set_title(ax, ink, "Cross-section", stack.label)
    return ax


# -- where the parts lie


def _millimetres(rect: Rect, values: Values) -> tuple[float, float]:
    x0, _, x1, _ = at(rect, values)
    return 1e3 * x0, 1e3 * x1


def _slab_rect(model: Model, part: Die | Layer) -> Rect:
    # by name: a model is shared by all stacks that are described alike
    return next(slab.rect for slab in model.slabs if slab.part.name == part.name)


def _joint_rect(model: Model, joint: Interface, below: Die | Layer, above: Die | Layer) -> Rect:
    """Return the area that an interface covers: where the solids meet, or what it is said to cover of that."""
    rect = overlap(_slab_rect(model, below), _slab_rect(model, above))
    return rect if joint.footprint is None else overlap(rect, rectangle(joint.name))


def _wetted(stack: Stack, model: Model) -> Rect:
    if stack.coolant.wetted is not None:
        return rectangle("coolant", "wetted")
    return _slab_rect(model, [e for e in stack.layers if isinstance(e, Layer)][-1])


def _boxes(stack: Stack, model: Model, values: Values) -> list[Box]:
    """Return every die, layer and interface as drawn, from the dies up."""
    leading = stack.layers[0] if isinstance(stack.layers[0], Interface) else None
    shared = stack.layers[1:] if leading else stack.layers
    columns: list[tuple[Die | Joint, ...]] = []
    for die in stack.dies:
        open_above = not (die.joint and isinstance(die.joint[-1], Interface))
        columns.append((die, *die.joint, *([leading] if leading and open_above else [])))
    heights = [[drawn_height(stack, part, values) for part in column] for column in columns]
    meet = max(sum(column) for column in heights)
    behind = _hidden([_millimetres(_slab_rect(model, die), values) for die in stack.dies], stack, values)
    boxes: list[Box] = []
    for column, each, hidden in zip(columns, heights, behind, strict=True):
        # all dies are drawn from the same board up to the same layer: heights are not to scale anyway
        stretched = [meet / sum(each) * height for height in each]
        boxes += _pile(model, values, [*column, shared[0]], stretched, 0.0, hidden)
    heights_above = [drawn_height(stack, part, values) for part in shared]
    return boxes + _pile(model, values, shared, heights_above, meet, False)


def _pile(
    model: Model, values: Values, parts: Sequence[Die | Joint], heights: Sequence[float], bottom: float, behind: bool
) -> list[Box]:
    """Put parts on one another; those without a height are only what the last interface meets."""
    boxes = []
    for index, height in enumerate(heights):
        part = parts[index]
        if isinstance(part, Interface):
            below, above = parts[index - 1], (*parts, None)[index + 1]
            assert not isinstance(below, Interface)
            assert not isinstance(above, Interface)
            # an interface on top joins a plate that the coolant's figure contains
            rect = _wetted(model.stack, model) if above is None else _joint_rect(model, part, below, above)
        else:
            rect = _slab_rect(model, part)
        patches = part.patches if isinstance(part, Interface) else ()
        gaps = tuple((patch.name, *_millimetres(within(rect, patch.name), values)) for patch in patches)
        boxes.append(Box(part, *_millimetres(rect, values), bottom, bottom + height, gaps, behind))
        bottom += height
    return boxes


def _hidden(spans: Sequence[tuple[float, float]], stack: Stack, values: Values) -> list[bool]:
    """Tell which dies lie behind another, seen from the front edge (from low y)."""
    depth = [number(values, f"{die.name}.centre_y") for die in stack.dies]

    def covers(i: int, j: int) -> bool:
        return depth[i] < depth[j] and spans[i][0] < spans[j][1] - 1e-6 and spans[j][0] < spans[i][1] - 1e-6

    return [any(covers(i, j) for i in range(len(spans))) for j in range(len(spans))]


# -- drawing


def _draw(ax: Axes, ink: Ink, box: Box) -> None:
    one = look(role_of(box.part))
    corner, width, height = (box.left, box.bottom), box.right - box.left, box.top - box.bottom
    if box.behind:
        # seen through the gaps, and dashed where something is in front
        ax.add_patch(Rectangle(corner, width, height, facecolor=one.fill, alpha=0.35, linewidth=0, zorder=1.5))
        ax.add_patch(Rectangle(corner, width, height, fill=False, edgecolor=ink.text, linewidth=0.9,
                               linestyle=(0, (4, 3)), zorder=2.5))  # fmt: skip
        return
    ax.add_patch(Rectangle(corner, width, height, facecolor=one.fill, edgecolor=OUTLINE, hatch=one.hatch,
                           linewidth=0.9, zorder=2))  # fmt: skip
    for _, left, right in box.gaps:
        ax.add_patch(Rectangle((left, box.bottom), right - left, height, facecolor="#ffffff", edgecolor=OUTLINE,
                               linewidth=0.9, linestyle=(0, (2, 1.5)), zorder=2.2))  # fmt: skip


def _draw_regions(ax: Axes, die: Die, values: Values) -> None:
    """Draw the regions of a die as dark strips on its active face."""
    for region in die.power.regions:
        left, right = _millimetres(within(rectangle(die.name), region.name, die.mirrored), values)
        ax.add_patch(Rectangle((left, 0.0), right - left, STRIP_HEIGHT, facecolor=OUTLINE, edgecolor="#ffffff",
                               linewidth=0.7, zorder=2.3))  # fmt: skip


def _name_dies(ax: Axes, boxes: Sequence[Box], per_inch: float) -> None:
    """Write the name of each of several dies into it, where there is room."""
    for box in boxes:
        if not isinstance(box.part, Die) or box.behind:
            continue
        room = chars((box.right - box.left) / per_inch)
        name = fit(box.part.name, room)
        if "…" not in name and max(map(len, box.part.name.split())) <= room:
            ax.text((box.left + box.right) / 2, (STRIP_HEIGHT + box.top) / 2, name, ha="center", va="center",
                    fontsize=LABEL, color=OUTLINE, bbox=note_box(), zorder=3)  # fmt: skip


def _draw_coolant(ax: Axes, wet: tuple[float, float], top: float) -> None:
    """Draw the coolant over the wetted area, with arrows along its flow."""
    one, width = look("coolant"), wet[1] - wet[0]
    ax.add_patch(Rectangle((wet[0], top), width, COOLANT_HEIGHT, facecolor=one.fill, edgecolor=OUTLINE, linewidth=0.9,
                           linestyle=(0, (5, 2)), zorder=2))  # fmt: skip
    for start in (0.06, 0.38, 0.70):
        ax.annotate("", (wet[0] + (start + 0.24) * width, top + COOLANT_HEIGHT / 2),
                    (wet[0] + start * width, top + COOLANT_HEIGHT / 2), zorder=3,
                    arrowprops={"arrowstyle": "-|>", "color": OUTLINE, "linewidth": 1.4})  # fmt: skip


def _draw_board(ax: Axes, ink: Ink, edges: tuple[float, float], bottom: float, dies: Sequence[Box]) -> None:
    """Draw the board, and the path to it from each die."""
    one = look("board")
    ax.add_patch(Rectangle((edges[0], bottom), edges[1] - edges[0], BOARD_HEIGHT, facecolor=one.fill, edgecolor=OUTLINE,
                           hatch=one.hatch, linewidth=0.9, zorder=2))  # fmt: skip
    for die in dies:
        middle = (die.left + die.right) / 2
        ax.annotate("", (middle, bottom + BOARD_HEIGHT), (middle, 0.0),
                    arrowprops={"arrowstyle": "-|>", "color": ink.text, "linewidth": 1.4}, zorder=3)  # fmt: skip


# -- labels


def _drops(prediction: Prediction | None) -> dict[str, float]:
    """Return the drop over each part; over what several dies share, above the hottest. [K]"""
    found: dict[str, float] = {}
    if prediction is not None:
        others = [die.name for die in prediction.stack.dies if die.name != prediction.hottest_die]
        for die in [*others, prediction.hottest_die]:
            table = prediction.breakdown_of(die).to_dict()
            found |= {str(n): float(d or 0) for n, d in zip(table["part"][:-1], table["drop_K"][:-1], strict=True)}
    return found


def _notes_of_parts(boxes: Sequence[Box], values: Values, drops: dict[str, float]) -> Iterator[Note]:
    """Yield a label a part; parts side by side that are made alike share one."""
    alike: dict[tuple[str, float, Role], list[Box]] = {}
    for box in boxes:
        key = made_of(box.part, values), round(box.bottom, 9), role_of(box.part)
        alike.setdefault(key, []).append(box)
    for (detail, _, _), group in alike.items():
        group.sort(key=lambda box: box.left)
        anchor = max((box for box in group if not box.behind), key=lambda box: box.right, default=group[-1])
        # of parts at one level, those to the right have their leaders lower, so that no leader lies on another
        level = sorted(box.right for box in boxes if abs(box.bottom - anchor.bottom) < 1e-9)
        share = 1 - (level.index(anchor.right) + 0.5) / len(level)
        powers = [number(values, f"{box.part.name}.power") for box in group if isinstance(box.part, Die)]
        together = " together" if len(powers) > 1 else ""
        texts = [detail, *([f"{in_unit(sum(powers), 'power')}{together}"] if powers else [])]
        fall = [drops[box.part.name] for box in group if box.part.name in drops]
        if fall:
            texts.append(f"drop {'up to ' if len(fall) > 1 else ''}{decimals(max(fall), 1)} K")
        names = [f"{box.part.name} (behind)" if box.behind else box.part.name for box in group]
        inset = 0.02 * (anchor.right - anchor.left)
        yield Note(
            anchor.right - inset,
            anchor.bottom + share * (anchor.top - anchor.bottom),
            ", ".join(names),
            "; ".join(texts),
        )


def _notes_of_regions(stack: Stack, boxes: Sequence[Box], values: Values) -> Iterator[Note]:
    """Yield one label for the regions of each die."""
    for die in stack.dies:
        regions = die.power.regions
        if regions:
            box = next(box for box in boxes if box.part is die)
            names = ", ".join(region.name for region in regions[:3]) + (", …" if len(regions) > 3 else "")
            made = number(values, f"{die.name}.power") * sum(r.power.si for r in regions) / die.power.total.si
            count = f"{len(regions)} region{'s' if len(regions) > 1 else ''}"
            rights = [_millimetres(within(rectangle(die.name), r.name, die.mirrored), values)[1] for r in regions]
            yield Note(max(rights), box.bottom + STRIP_HEIGHT / 2, f"active face of {die.name}",
                       f"{count}, {in_unit(made, 'power')} in {names}")  # fmt: skip


def _notes_of_gaps(boxes: Sequence[Box], values: Values) -> Iterator[Note]:
    for box in boxes:
        for name, left, right in box.gaps:
            resistance = in_unit(number(values, f"{name}.resistance"), "specific resistance")
            yield Note((left + right) / 2, box.bottom + 0.7 * (box.top - box.bottom), name,
                       f"patch of {box.part.name}, {resistance}")  # fmt: skip


def _write(ax: Axes, ink: Ink, notes: Sequence[Note], column: float) -> None:
    """Write the labels in a column, as near to their parts as they go without touching, with leaders."""
    (x_low, x_high), (y_low, y_high) = ax.get_xlim(), ax.get_ylim()
    width, height = inches_of(ax)
    room = (x_high - column) / (x_high - x_low) * width
    longest = max(len(note.detail) for note in notes)
    by_width = max(6.0, points() * room / text_inches("x" * longest))
    size = max(4.0, min(points(), by_width, height * 72 / (len(notes) * LINES * 1.3)))
    pitch = LINES * 1.3 * size / 72 * (y_high - y_low) / height
    places = spaced(np.array([note.y for note in notes]), pitch, y_low + pitch / 2, y_high - pitch / 2)
    fitting = chars(room, size)
    elbow, tip = column - 0.045 * (x_high - x_low), column - 0.008 * (x_high - x_low)
    halo = [withStroke(linewidth=2.4, foreground=ink.ground)]
    for note, y in zip(notes, places, strict=True):
        ax.plot([note.x, elbow, tip], [note.y, note.y, y], color=ink.text, linewidth=0.8, path_effects=halo, zorder=3.5)
        ax.plot([note.x], [note.y], "o", color=ink.text, markeredgecolor=ink.ground, markersize=4, zorder=3.6)
        ax.text(column, y, f"{fit(note.name, fitting, 1)}\n{fit(note.detail, fitting, 1)}", va="center", fontsize=size,
                color=ink.text, linespacing=1.1)  # fmt: skip
