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
        Polynomials an axis of a contact where nothing asks for more; products up to this total degree are used.
    detail : float
        Further polynomials for each half width of a contact over the thickness through which it sees a narrower one.
    most : int
        Largest number of polynomials an axis.
    depth : float
        Modes are summed exactly up to γ t = depth of the thinner end slab of a block, beyond that as a half-space…
    waves : float
        …but no further than to this phase γ w/2 across the narrowest rectangle w on the block…
    least_waves : float
        …and always at least to this one.
    largest : int
        Largest number of modes an axis.
    tolerance : float
        Polynomials are raised, sample by sample, until the estimated error of every probe is below this share of the
        hottest probe of the same source (or `most` or `rounds` is reached).
    rounds : int
        How many times they may be raised…
    step : float
        …and the factor each time.
    limit : float
        `SolveError` is raised if the estimated error is still above this share.
    workers : int or None
        Threads over samples; None takes one a processor, but none for less than a hundred samples.
    """

    polynomials: int = 10
    detail: float = 1.4
    most: int = 40
    depth: float = 4.0
    waves: float = 25.0
    least_waves: float = 8.0
    largest: int = 400
    tolerance: float = 1e-3
    rounds: int = 2
    step: float = 1.35
    limit: float = 0.05
    workers: int | None = None

    def __post_init__(self) -> None:
        if self.polynomials < 4 or self.most < self.polynomials:
            raise InputError(
                f"{self.polynomials} to {self.most} polynomials",
                where="polynomials",
                expected="at least 4, most not less",
            )
        for name in ("depth", "waves", "least_waves", "tolerance", "limit"):
            if not getattr(self, name) > 0.0:
                raise InputError(f"{getattr(self, name)}", where=name, expected="a number > 0")
        if not self.step > 1.0:
            raise InputError(f"{self.step}", where="step", expected="a number > 1")
        if self.detail < 0.0 or self.rounds < 0 or self.largest < 8 or (self.workers is not None and self.workers < 1):
            raise InputError("detail and rounds must not be negative, largest at least 8, workers at least 1")
