"""The stack in cross-section, from the board to the coolant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from ..model import Model, Values, model_of
from ..model.rects import Rect, at, overlap, rectangle, within
from ..stack.parts import Die, Interface, Joint, Layer
from ..stack.stack import Stack
from ..units import show
from .parts import board_text, coolant_text, drawn_height, made_of, number, role_of
from .style import (
    LABEL,
    OUTLINE,
    Color,
    Ink,
    Look,
    Role,
    axes_for,
    chars,
    fit,
    inches_of,
    look,
    note_box,
    plain,
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


@dataclass(frozen=True)
class Box:
    """A part as drawn: its edges along x [mm] and its height [not to scale]."""

    part: Die | Joint
    left: float
    right: float
    bottom: float
    top: float
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
        stack, model, values = stack_or_prediction.stack, stack_or_prediction.point.model, stack_or_prediction.point.values
    boxes = _boxes(stack, model, values)
    wet = _millimetres(_wetted(stack, model), values)
    left, right = min(box.left for box in boxes), max(box.right for box in boxes)
    top = max(box.top for box in boxes)
    bottom = -(BOARD_GAP + BOARD_HEIGHT) if stack.board else 0.0
    notes = [*_notes_of_parts(boxes, values, _drops(prediction)), *_notes_of_dies(stack, boxes)]
    notes += _notes_of_patches(boxes, model, values)
    notes.append(Note(wet[1], top + COOLANT_HEIGHT / 2, "coolant", coolant_text(stack.coolant, values)))
    if stack.board:
        notes.append(Note(right, bottom + BOARD_HEIGHT / 2, "board path", board_text(stack.board, values)))
    notes.sort(key=lambda note: note.y)

    ax, ink = axes_for(ax, 8.4, max(3.2, 1.2 + 0.42 * len(notes)))
    width = right - left
    ax.set_xlim(left - 0.03 * width, left - 0.03 * width + 1.06 * width / STACK_SHARE)
    ax.set_ylim(bottom - 0.15, top + COOLANT_HEIGHT + 0.15)
    per_inch = (ax.get_xlim()[1] - ax.get_xlim()[0]) / inches_of(ax)[0]
    for box in boxes:
        _draw(ax, ink, box, model, values)
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
    return next(slab.rect for slab in model.slabs if slab.part is part)


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
            below, above = parts[index - 1], parts[index + 1]
            assert not isinstance(below, Interface)
            assert not isinstance(above, Interface)
            rect = _joint_rect(model, part, below, above)
        else:
            rect = _slab_rect(model, part)
        boxes.append(Box(part, *_millimetres(rect, values), bottom, bottom + height, behind))
        bottom += height
    return boxes


def _hidden(spans: Sequence[tuple[float, float]], stack: Stack, values: Values) -> list[bool]:
    """Tell which dies lie behind another, seen from the front edge (from low y)."""
    depth = [number(values, f"{die.name}.centre_y") for die in stack.dies]

    def covers(i: int, j: int) -> bool:
        return depth[i] < depth[j] and spans[i][0] < spans[j][1] - 1e-6 and spans[j][0] < spans[i][1] - 1e-6

    return [any(covers(i, j) for i in range(len(spans))) for j in range(len(spans))]


# -- drawing


def _draw(ax: Axes, ink: Ink, box: Box, model: Model, values: Values) -> None:
    one = look(role_of(box.part))
    area = Rectangle((box.left, box.bottom), box.right - box.left, box.top - box.bottom, linewidth=0.9)
    if box.behind:
        area.set(facecolor="none", edgecolor=ink.text, linestyle=(0, (4, 3)), zorder=2.5)
    else:
        area.set(facecolor=one.fill, edgecolor=OUTLINE, hatch=one.hatch, zorder=2)
    ax.add_patch(area)
    if not box.behind:
        for left, right in _gaps(box, model, values):
            height = box.top - box.bottom
            ax.add_patch(Rectangle((left, box.bottom), right - left, height, facecolor="#ffffff", edgecolor=OUTLINE,
                                   linewidth=0.9, linestyle=(0, (2, 1.5)), zorder=2.2))  # fmt: skip


def _gaps(box: Box, model: Model, values: Values) -> Iterator[tuple[float, float]]:
    """Yield the edges of each patch of an interface."""
    if isinstance(box.part, Interface):
        for patch in box.part.patches:
            yield _millimetres(_patch_rect(box.part, patch.name, model), values)
