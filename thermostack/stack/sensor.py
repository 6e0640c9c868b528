"""Something a log holds and a stack predicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError
from ..units import Value, ValueLike, parse
from . import fields
from .fields import Pair, PairLike

__all__ = ["Sensor"]

Reading = Literal["rounding", "truncating", "exact"]


@dataclass(frozen=True, init=False)
class Sensor:
    """Something a log holds and a stack predicts.

    Parameters
    ----------
    name : str
        Unique in the stack.
    at : str
        Name of a region or die (mean over its active face), of a layer (mean over its upper face, or the `point` on
        it: a lid thermocouple), or ``"coolant"``.
    point : pair of values, optional
        Where on the layer's upper face it sits, from the centre of the stack.
    offset : value, optional
        What it reads too high at `pivot`. [K]
    slope : value, optional
        By what fraction it reads too steep about `pivot`.
    pivot : value, optional
        Temperature at which only the offset acts; needed with a slope.
    step : value, optional
        Resolution. [K]
    reads : {"rounding", "truncating", "exact"}
        How it gets to a whole step.
    """

    name: str
    at: str
    point: Pair | None
    offset: Value | None
    slope: Value | None
    pivot: Value | None
    step: Value | None
    reads: Reading

    def __init__(
        self,
        name: str,
        at: str,
        *,
        point: PairLike | None = None,
        offset: ValueLike | None = None,
        slope: ValueLike | None = None,
        pivot: ValueLike | None = None,
        step: ValueLike | None = None,
        reads: Reading = "rounding",
    ) -> None:
        name = fields.name_of(name, "sensor")
        if reads not in ("rounding", "truncating", "exact"):
            raise InputError(f"{reads!r} is not known", where=f"{name}.reads", expected="rounding, truncating or exact")
        if slope is not None and pivot is None:
            raise InputError(
                "a slope without a pivot", where=f"{name}.pivot", expected="a temperature, such as '100 degC'"
            )
        fields.put(
            self,
            name=name,
            at=fields.name_of(at, f"{name}.at"),
            point=None if point is None else fields.position(point, f"{name}.point"),
            offset=None if offset is None else parse(offset, "temperature difference", f"{name}.offset"),
            slope=None if slope is None else parse(slope, "fraction", f"{name}.slope"),
            pivot=None if pivot is None else fields.temperature(pivot, f"{name}.pivot"),
            step=fields.optional(step, "temperature difference", f"{name}.step"),
            reads=reads,
        )
