"""What to record before the mod, and what each record could later tell apart.

What the model can rank is ranked by how much it is expected to tell about the cause, should the result surprise
(`checking.foresee`). What it cannot rank follows below, by common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..checking import Foresight
from ..stack.roles import lid
from ..stack.stack import Stack
from ..tables import Cell, Column, Table
from .mounts import remade

__all__ = ["BEFORE", "NOTHING", "RECORDS", "Record", "what_to_record"]

BEFORE = ("only before the mod", "before and after")
"""When a record is lost, or half of it, once the mod is made."""
NOTHING = "next to nothing"
CORES = "every core"
"""Ranked only where the part is described with a sensor for each; a part has them all the same."""


@dataclass(frozen=True)
class Record:
    """Something that can be recorded.

    Attributes
    ----------
    what : str
    apart : str
        What it could later tell apart.
    takes : str
    when : {"only before the mod", "before and after", "any time"}
    ranked_as : str
        How its name begins where the model ranks it; empty: nothing in the model can.
    """

    what: str
    apart: str
    takes: str
    when: str
    ranked_as: str = ""


RECORDS = (
    Record("every core by itself, not the hottest or a mean", "a void or a tilt (some cores) from a joint worse as a "
           "whole (all cores)", "the same log", "before and after", CORES),
    Record("a second power level, and idle", "sensor and coolant offsets (the same K at any power) from joints (K that "
           "grow with the power)", "two soaks and logs more", "before and after", "idle"),
    Record("remounts of the cold plate", "one bad or one lucky mount from what the mod did", "a soak, a log and paste "
           "each", "before and after", "remount"),
    Record("power by a second meter", "a power meter that is off, or changed, from a better joint", "a clamp meter on "
           "the supply line", "before and after", "a second power meter"),
    Record("a second coolant probe beside the first", "a probe that is off or drifts from the cooling side",
           "a probe compared with it in stirred water", "before and after", "a second coolant probe"),
    Record("temperature of the lid beside the plate", "the joint under the lid from all that lies above it", "a thin "
           "thermocouple on the rim", "before and after", "a thermocouple"),
    Record("the same load at another flow", "the cooling side from the joints", "a soak and a log", "before and after",
           "a lower flow"),
    Record("contact print of the old joints", "a joint that touched in part from one that was thick", "a photograph "
           "at each opening", "only before the mod", "contact print"),
    Record("thickness of the die", "a wrong size in the description from a wrong joint", "a micrometer, once open",
           "any time", "thickness of"),
    Record("clock, voltage and limits with every row", "another power map, or throttling, from cooling", "the same "
           "log", "before and after"),
    Record("coolant at the outlet as well, and the flow", "heat that does not reach the coolant, or a flow that "
           "changed, from the cooling side", "a second probe close to the block, a flow meter", "before and after"),
    Record("height of the lid over the substrate, flatness of lid and plate", "a lid that stands on its rim, or was "
           "bent by the opening, from a thin joint", "a height gauge, a straight edge", "only before the mod"),
    Record("thickness of the lid", "a wrong size in the description from a wrong joint", "a micrometer, once off",
           "any time"),
)  # fmt: skip
"""Records, most telling first as practitioners see it (*common practice, no source*)."""


def what_to_record(stack: Stack, foresight: Foresight | None = None) -> Table:
    """Return what to record: as the model ranks it, then what it cannot rank; all by common practice without one.

    Parameters
    ----------
    stack : Stack
        What it does not have is left out.
    foresight : Foresight, optional
        Of this stack and the mod.
    """
    kept = [record for record in RECORDS if _possible(record, stack)]
    columns = (
        Column("rank", "rank"), Column("what", "record", wrap=32), Column("when", "when", wrap=12),
        Column("nats", "tells [nat]", ".3f"), Column("error", "error", ".3f"),
        Column("later_nats", "only after [nat]", ".3f"), Column("apart", "could later tell apart", wrap=44),
        Column("takes", "takes", wrap=30),
    )  # fmt: skip
    if foresight is None:
        plain = tuple((i, r.what, r.when, r.apart, r.takes) for i, r in enumerate(kept, 1))
        of = tuple(column for column in columns if column.key in ("rank", "what", "when", "apart", "takes"))
        note = "order: common practice, no source; plan(…, rank=True) ranks by what each is expected to tell"
        return Table(of, plain, "What to record, most telling first", (note,))
    rows: list[tuple[Cell, ...]] = [
        (i, r.name, r.when, r.more, r.error, r.later, r.words or NOTHING, r.takes)
        for i, r in enumerate(foresight.records, 1)
    ]
    names = tuple(record.name for record in foresight.records)
    rows += [
        (None, r.what, r.when, None, None, None, r.apart, r.takes)
        for r in kept
        if not r.ranked_as or (r.ranked_as == CORES and not any(name.startswith(CORES) for name in names))
    ]
    notes = (
        foresight.note,
        "only after: what is left of it if nothing is recorded before the mod; the rest is then lost for good",
        "could later tell apart: the causes that it splits best, as computed; without a rank stands what the "
        "model cannot rank (common practice, no source)",
    )
    return Table(columns, tuple(rows), "What to record, by what it could later tell apart", notes)


def _possible(record: Record, stack: Stack) -> bool:
    if record.ranked_as == "a thermocouple" or "the lid" in record.what:
        return bool(lid(stack))
    if record.ranked_as == "remount":
        return bool(remade(stack))
    return True
