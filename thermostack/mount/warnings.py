"""Cautions that follow from heights and mount."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..cautions.caution import PRACTICE, Caution
from ..cautions.words import listed_as
from ..units import show

if TYPE_CHECKING:
    from .check import MountCheck

__all__ = ["cautions_of"]

HARMFUL_BOW = 10e-6
"""Bow across the dies above which it is told. [m]"""
COMPUTED = "computed from the heights"


def cautions_of(check: MountCheck) -> Iterator[Caution]:
    """Yield what to be careful about."""
    yield from _rims(check)
    yield from _reach(check)
    yield from _limits(check)
    yield from _clearances(check)
    yield from _bending(check)


def _rims(check: MountCheck) -> Iterator[Caution]:
    bad = [rim for rim in check.rims if rim.chances["on its rim, joint not filled"] >= 0.025]
    if bad:
        worst = max(rim.chances["on its rim, joint not filled"] for rim in bad)
        yield Caution(
            "unfilled-joint", "part", tuple(rim.joint for rim in bad),
            f"In {100 * worst:.0f} of 100 cases within these tolerances {listed_as(rim.joint for rim in bad)} is not "
            "filled, since the lid stands on something else: the die overheats in a second. Measure again, lower "
            "the rim, and look at the contact print before power is applied.",
            f"{COMPUTED}; what a gallium alloy bridges: vendor note, looked up", 94,
        )  # fmt: skip
    if check.has_lid and check.on_die:
        yield Caution(
            "force-on-die", "part", tuple(die.name for die in check.described.dies),
            f"The lid is loose and does not stand on its rim: all force goes through {listed_as(check.described.dies)} "
            "and the limits of bare dies count.",
            COMPUTED, 81,
        )  # fmt: skip


def _reach(check: MountCheck) -> Iterator[Caution]:
    if check.reaches in ("never", "hardly") and check.gap is not None:
        missing = float(check.gap.to("mm").magnitude)
        short = f"by {missing:.2f} mm" if missing > 0 else "if the heights fall out badly"
        yield Caution(
            "no-contact", "part", (),
            f"The cooler does not reach {short}: never apply power before a contact print shows paste pressed over all "
            "of the face.",
            COMPUTED, 93,
        )  # fmt: skip


def _limits(check: MountCheck) -> Iterator[Caution]:
    if check.force is None:
        return
    told = [
        f"{k.limit.what}: {show(k.force, 'force', 3)}" + ("" if k.limit.lasting else " (short)")
        for k in check.kept
        if not k.kept
    ]
    if told:
        on = "dies" if check.on_die else "lid"
        yield Caution(
            "force-limits", "part", tuple(die.name for die in check.described.dies),
            f"{show(check.force.si, 'force', 3)} on the {on} of {listed_as(check.described.dies)} do not keep limits "
            f"that makers state for such parts ({'; '.join(told)}). The limit of your own part counts: look it up "
            "before the mount is closed.",
            "published limits of makers, looked up", 83,
        )  # fmt: skip


def _clearances(check: MountCheck) -> Iterator[Caution]:
    package = check.package
    if package.frame is not None and package.socket is not None:
        clear = check.plane.nominal - package.frame.si
        if clear - check.plane.rss <= 0:
            yield Caution(
                "on-frame", "part", (),
                f"The contact plane lies {show(abs(clear), 'length', 3)} {'above' if clear > 0 else 'below'} the "
                f"socket's frame (± {show(check.plane.rss, 'length', 3)}): a plate that is wider rests on the frame "
                "and not on the part. Lower the frame, or use a plate that fits inside it.",
                COMPUTED, 79,
            )  # fmt: skip
    if package.beside is not None and not check.has_lid:
        beside = show(package.beside.si, "length", 3)
        top = check.plane.nominal - package.substrate.si - (package.socket.si if package.socket is not None else 0.0)
        clear = top - package.beside.si
        if clear <= 0.1e-3:
            yield Caution(
                "on-components", "part", tuple(die.name for die in check.described.dies),
                f"{listed_as(check.described.dies)} {'stands' if len(check.described.dies) == 1 else 'stand'} "
                f"{show(top, 'length', 3)} above the substrate, parts beside it {beside}: "
                "the cold plate rests on them or comes within 0.1 mm. Mill a recess, or use a spacer of copper.",
                f"{COMPUTED}; 0.1 mm: {PRACTICE}", 79,
            )  # fmt: skip


def _bending(check: MountCheck) -> Iterator[Caution]:
    b = check.bending
    if b is None or not check.on_die or (b.across < HARMFUL_BOW and b.thin):
        return
    yield Caution(
        "bent-substrate", "part", tuple(die.name for die in check.described.dies),
        f"All force on {listed_as(check.described.dies)} bends the substrate into the socket's open middle by up to "
        f"{show(b.sag, 'bond line', 3)}, {show(b.across, 'bond line', 3)} of it across the dies: bump joints and dies "
        "crack by bending, and contacts at the rim open. Support the rim by a frame, or use less force"
        + ("." if b.thin else "; it is more than the formula for thin plates holds for."),
        "simply supported plate (Timoshenko and Woinowsky-Krieger, from memory); the dies' stiffness not counted", 77,
    )  # fmt: skip
