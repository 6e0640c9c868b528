"""What lies below and beside the dies, and how the cooler is held: heights that a micrometer or a drawing gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from ..errors import InputError
from ..units import Value, ValueLike, parse
from . import fields
from .fields import Pair, PairLike

__all__ = ["Mount", "Package"]

LidFixing = Literal["glued", "loose"]
BUMPS, MODULUS = "0.06 .. 0.08 mm", "25 GPa (x/ 1.3)"
"""Usual ones, where nobody says better."""


@dataclass(frozen=True, init=False)
class Package:
    """Heights of a package and its socket, beside the stack's own.

    Parameters
    ----------
    substrate : value
        Thickness of the substrate.
    socket : value, optional
        From the top of the board to the underside of the seated substrate. Without it heights count from there.
    bumps : value, optional
        Height of the bumps under the dies; the usual 0.06 to 0.08 mm if not given (common practice, no source).
    cavity : value, optional
        Depth of the lid's pocket, from the foot of its rim to the face over the dies.
    adhesive : value, optional
        Bond line of the adhesive under the rim; nothing where the lid is loose.
    lid : {"glued", "loose"}
        Whether the lid's rim is glued to the substrate. A loose one passes all force to the dies, or stands on its rim.
    board_bow : value, optional
        By how much the board bows away, as limits about zero: ``"0 mm (limits 0.1 mm)"``.
    beside : value, optional
        Height of the tallest part beside the dies, above the substrate.
    frame : value, optional
        Height of the socket's frame above the board, where the cold plate lies over it.
    window : pair of values, optional
        Sides of the socket's open middle, over which the substrate spans.
    modulus : value, optional
        Young's modulus of the substrate; 25 GPa (x/ 1.3) if not given (from memory: laminates of 20 to 30 GPa).
    stiffened : bool
        Whether the board has a stiffener behind the socket.
    """

    substrate: Value
    socket: Value | None
    bumps: Value
    cavity: Value | None
    adhesive: Value | None
    lid: LidFixing
    board_bow: Value | None
    beside: Value | None
    frame: Value | None
    window: Pair | None
    modulus: Value
    stiffened: bool
    assumed: tuple[str, ...]

    def __init__(
        self,
        substrate: ValueLike,
        *,
        socket: ValueLike | None = None,
        bumps: ValueLike = BUMPS,
        cavity: ValueLike | None = None,
        adhesive: ValueLike | None = None,
        lid: LidFixing = "glued",
        board_bow: ValueLike | None = None,
        beside: ValueLike | None = None,
        frame: ValueLike | None = None,
        window: PairLike | None = None,
        modulus: ValueLike = MODULUS,
        stiffened: bool = False,
    ) -> None:
        if lid not in get_args(LidFixing):
            raise InputError(f"{lid!r} is not known", where="package.lid", expected="glued or loose")
        if lid == "loose" and adhesive is not None:
            raise InputError("adhesive under a loose lid", where="package.adhesive", expected="none, or lid='glued'")
        if not isinstance(stiffened, bool):
            raise InputError(f"{stiffened!r}", where="package.stiffened", expected="True or False")
        assumed = [
            name for name, given, usual in (("bumps", bumps, BUMPS), ("modulus", modulus, MODULUS)) if given == usual
        ]
        fields.put(
            self,
            substrate=fields.positive(substrate, "length", "package.substrate"),
            socket=fields.optional(socket, "length", "package.socket"),
            bumps=fields.positive(bumps, "length", "package.bumps", zero=True),
            cavity=fields.optional(cavity, "length", "package.cavity"),
            adhesive=fields.optional(adhesive, "length", "package.adhesive", zero=True),
            lid=lid,
            board_bow=None if board_bow is None else parse(board_bow, "length", "package.board_bow"),
            beside=fields.optional(beside, "length", "package.beside"),
            frame=fields.optional(frame, "length", "package.frame"),
            window=None if window is None else fields.footprint(window, "package.window"),
            modulus=fields.positive(modulus, "modulus", "package.modulus"),
            stiffened=stiffened,
            assumed=tuple(assumed),
        )


@dataclass(frozen=True, init=False)
class Mount:
    """How the cooler is held and pressed on.

    Parameters
    ----------
    force : value
        Of all screws and springs together, on a contact plane of the height that the mount is made for.
    made_for : value, optional
        That height of the cold plate's contact face above the board. Without it the reach is not told.
    travel : value, optional
        How far below that it still presses: what the springs have left, or how far the screws go; none if not given.
    up : value, optional
        How far above it goes before springs or screws are at their end.
    rate : value, optional
        Of all springs together, in N/mm; the force over the travel if not given (*assumed*: relaxed at its end).
    """

    force: Value
    made_for: Value | None
    travel: Value
    up: Value | None
    rate: Value | None

    def __init__(
        self,
        force: ValueLike,
        *,
        made_for: ValueLike | None = None,
        travel: ValueLike = "0 mm",
        up: ValueLike | None = None,
        rate: ValueLike | None = None,
    ) -> None:
        fields.put(
            self,
            force=fields.positive(force, "force", "mount.force"),
            made_for=fields.optional(made_for, "length", "mount.made_for"),
            travel=fields.positive(travel, "length", "mount.travel", zero=True),
            up=fields.optional(up, "length", "mount.up", zero=True),
            rate=fields.optional(rate, "spring rate", "mount.rate", zero=True),
        )
        if self.made_for is not None and self.travel.si >= self.made_for.si:
            raise InputError(
                f"a travel of {self.travel} goes below the board", where="mount.travel",
                expected=f"less than the {self.made_for} that the mount is made for",
            )  # fmt: skip
