"""What to record before the mod, and what each record could later tell apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..stack.roles import lid
from ..stack.stack import Stack
from ..tables import Cell, Column, Table
from .mounts import remade

__all__ = ["RECORDS", "Record", "what_to_record"]


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
    """

    what: str
    apart: str
    takes: str
    when: str


RECORDS = (
    Record("every core by itself, not the hottest or a mean", "a void or a tilt (some cores) from a joint worse as a "
           "whole (all cores)", "the same log", "before and after"),
    Record("a second power level, and idle", "sensor and coolant offsets (the same K at any power) from joints (K that "
           "grow with the power)", "two soaks and logs more", "before and after"),
    Record("remounts of the cold plate", "one bad or one lucky mount from what the mod did", "a soak, a log and paste "
           "each", "only before the mod"),
    Record("power by a second meter", "a power meter that is off, or changed, from a better joint", "a clamp meter on "
           "the supply line", "before and after"),
    Record("coolant in and out close to the block, by probes compared in stirred water", "a probe that is off or "
           "drifts, and the flow, from the cooling side", "two probes", "before and after"),
    Record("temperature of the lid beside the plate", "the joint under the lid from all that lies above it", "a thin "
           "thermocouple on the rim", "only before the mod"),
    Record("the same load at another flow", "the cooling side from the joints", "a soak and a log", "before and after"),
    Record("clock, voltage and limits with every row", "another power map, or throttling, from cooling", "the same "
           "log", "before and after"),
    Record("contact print of the old joints", "a joint that touched in part from one that was thick", "a photograph "
           "at each opening", "only before the mod"),
    Record("height of the lid over the substrate, flatness of lid and plate", "a lid that stands on its rim, or was "
           "bent by the opening, from a thin joint", "a height gauge, a straight edge", "only before the mod"),
    Record("thickness of die and lid", "wrong sizes in the description from wrong joints", "a micrometer, once open",
           "any time"),
)  # fmt: skip
"""Records, most telling first as practitioners see it (*common practice, no source*)."""


def what_to_record(stack: Stack, information: Mapping[str, float] | None = None) -> Table:
    """Return what to record, ranked.

    Parameters
    ----------
    stack : Stack
        Before the mod: what it does not have cannot be recorded.
    information : mapping of str to float, optional
        Expected information of records [nat] by `Record.what`; those that have one come first.
    """
    kept = [record for record in RECORDS if _possible(record, stack)]
    known = information or {}
    order = sorted(kept, key=lambda record: -known.get(record.what, -1.0))
    rows: list[tuple[Cell, ...]] = []
    for rank, record in enumerate(order, 1):
        rows.append((rank, record.what, record.apart, record.takes, record.when))
    columns = [
        Column("rank", "rank"), Column("what", "record", wrap=36),
        Column("apart", "could later tell apart", wrap=46),
        Column("takes", "takes", wrap=24), Column("when", "when"),
    ]  # fmt: skip
    return Table(
        tuple(columns),
        tuple(rows),
        "What to record, most telling first",
        ("order: common practice, no source",),
    )


def _possible(record: Record, stack: Stack) -> bool:
    if record.what.startswith("temperature of the lid") or record.what.startswith("height of the lid"):
        return bool(lid(stack))
    if record.what.startswith("remounts"):
        return bool(remade(stack))
    return True
