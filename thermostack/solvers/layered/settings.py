"""What a user of the layered solver may choose, with the defaults."""

from __future__ import annotations

from dataclasses import dataclass

from thermostack.errors import InputError

__all__ = ["LayeredSettings"]


@dataclass(frozen=True, kw_only=True)
class LayeredSettings:
    """Settings of the layered solver.

    Parameters
    ----------
    polynomials : int
        Legendre polynomials an axis of a contact.
    depth : float
        Modes are summed exactly up to γ t = depth of the thinner end slab of a block, beyond that as a half-space.
    waves : float
        …but no further than to this phase γ w/2 across the narrowest rectangle w on the block, where detail is lost.
    largest : int
        Largest number of modes an axis.
    workers : int or None
        Threads over samples; None takes one a processor.
    """

    polynomials: int = 12
    corner: float = 1.0
    degrees: tuple[tuple[int, int], ...] | None = None
    depth: float = 4.0
    waves: float = 25.0
    least_waves: float = 8.0
    largest: int = 400
    workers: int | None = None

    def __post_init__(self) -> None:
        if self.polynomials < 2:
            raise InputError(f"{self.polynomials} polynomials", where="polynomials", expected="at least 2")
        if not (self.depth > 0.0 and self.waves > 0.0 and self.largest >= 8):
            raise InputError("depth, waves and largest must be positive, and largest at least 8")
