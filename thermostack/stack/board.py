"""The path downwards, through the substrate to the board."""

from __future__ import annotations

from dataclasses import dataclass

from ..units import Value, ValueLike
from . import fields

__all__ = ["Board"]


@dataclass(frozen=True, init=False)
class Board:
    """The path from the active faces of all dies through the substrate to the board.

    Parameters
    ----------
    resistance : value
        From the active faces of all dies together to the board; dies share it by area. [K/W]
    temperature : value, optional
        Of the board; the coolant's if not given.
    """

    resistance: Value
    temperature: Value | None

    def __init__(self, resistance: ValueLike, temperature: ValueLike | None = None) -> None:
        fields.put(
            self,
            resistance=fields.positive(resistance, "resistance", "board.resistance"),
            temperature=None if temperature is None else fields.temperature(temperature, "board.temperature"),
        )

    name = "board"
