"""What is on the screen: the variants of a part, which is shown, the inputs that were moved, and the latest answers."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from functools import cached_property
from typing import TypeAlias

from ..comparison import compare
from ..errors import InputError
from ..live import Control, Quick, moved
from ..prediction import Prediction
from ..propagate import Summary
from ..stack.files import read_variants
from ..stack.paths import split
from ..stack.stack import Stack
from ..units import ValueLike, convert, parse
from .latest import Latest, Stop

__all__ = ["Bench"]

Key: TypeAlias = tuple[int, tuple[tuple[str, float], ...]]
SAMPLES = 2000
"""For the interval of a drop."""
KEPT = 64
"""Exact answers that are kept, so that a way back costs nothing."""


class Bench:
    """The variants of a part, and the inputs that were moved, for the panels that show them.

    Parameters
    ----------
    variants : path, Stack or iterable of Stack
        A file with a part and its mods, or stacks, the baseline first.
    limit : temperature
        Junction temperature to which the headroom is stated.
    sampled : bool
        Whether to draw samples for intervals and bands, which fill in after the answers.

    Notes
    -----
    A panel is told what happened by the name of an event: ``"moved"`` (an input, the limit), ``"variant"`` (another
    one is shown or compared with), ``"settled"`` (the exact answer has come), ``"bands"`` (the interval has),
    ``"ready"`` (answers have become quick).
    An input is moved in every variant that has a part of this name.
    """

    def __init__(
        self,
        variants: str | os.PathLike[str] | Stack | Iterable[Stack],
        limit: ValueLike = "95 degC",
        *,
        sampled: bool = True,
    ) -> None:
        if isinstance(variants, str | os.PathLike):
            variants = read_variants(variants)
        self.variants: tuple[Stack, ...] = (variants,) if isinstance(variants, Stack) else tuple(variants)
        if not self.variants:
            raise InputError("no variant", where="Bench", expected="a file with a part, or one stack at least")
        self.shown = min(1, len(self.variants) - 1)
        self.against = 0
        self.sampled = sampled
        self.limit = parse(limit, "temperature", "limit").si
        self.values: dict[str, float] = {}
        self.failures: list[Callable[[Exception], None]] = []
        self._listeners: list[Callable[[str], None]] = []
        self._begun = False
        self._quick: dict[int, Quick] = {}
        self._exact: dict[Key, Prediction] = {}
        self._headroom: dict[tuple[Key, float], float] = {}
        self._last: dict[int, tuple[Key, Prediction]] = {}
        self._settle = Latest("soon", pause=0.25)
        self._bands = Latest("background", pause=0.4)
        self._interval: dict[tuple[Key, Key], Summary] = {}
        self._prepare = Latest("background", pause=0.5)

    # -- telling panels

    def listen(self, listener: Callable[[str], None], *, answers: bool = True) -> None:
        """Call `listener` with the name of each event; begin to prepare quick answers for the first who wants them."""
        self._listeners.append(listener)
        if answers and not self._begun:
            self._begun = True
            self._begin()

    def _tell(self, event: str) -> None:
        for listener in self._listeners:
            listener(event)

    def _failed(self, error: Exception) -> None:
        for failed in self.failures:
            failed(error)

    # -- what is on the screen

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """Names of the variants."""
        return tuple(stack.label for stack in self.variants)

    @property
    def pair(self) -> tuple[int, ...]:
        """The variant shown and the one it is compared with, once where they are the same."""
        return tuple(dict.fromkeys((self.shown, self.against)))

    def quick(self, index: int) -> Quick:
        """Return the quick answers of a variant."""
        if index not in self._quick:
            self._quick[index] = Quick(self.variants[index])
        return self._quick[index]

    @property
    def controls(self) -> tuple[Control, ...]:
        """Inputs of the variant shown that may be moved."""
        return self.quick(self.shown).controls

    def stack(self, index: int | None = None) -> Stack:
        """Return a variant as it is on the screen, the one shown if not told."""
        index = self.shown if index is None else index
        return moved(self.variants[index], self.values)

    def _key(self, index: int) -> Key:
        names = {part.name for part in self.variants[index].parts()}
        return index, tuple(sorted((path, si) for path, si in self.values.items() if split(path)[0] in names))

    def answer(self, index: int | None = None) -> Prediction:
        """Return the prediction of a variant as it is on the screen: exact where that has come, else quick."""
        index = self.shown if index is None else index
        key = self._key(index)
        return self._exact[key] if key in self._exact else self._quickly(index, key)

    def _quickly(self, index: int, key: Key) -> Prediction:
        if index not in self._last or self._last[index][0] != key:
            self._last[index] = key, self.quick(index).at(self.values)
        return self._last[index][1]

    def headroom(self, index: int | None = None) -> float:
        """Return the power that a variant as it is on the screen may be given until the limit. [W]"""
        index = self.shown if index is None else index
        key = self._key(index)
        if (key, self.limit) not in self._headroom:
            return float(self._quickly(index, key).headroom(self.limit_text).magnitude)
        return self._headroom[key, self.limit]

    def exact_headroom(self, index: int) -> float | None:
        """Return the exact headroom of a variant as it is on the screen; None until it has come. [W]"""
        return self._headroom.get((self._key(index), self.limit))

    @property
    def interval(self) -> Summary | None:
        """What samples of the uncertain inputs say of the drop at equal power [K]; None until they have been drawn."""
        return self._interval.get((self._key(self.against), self._key(self.shown)))

    @property
    def limit_text(self) -> str:
        """The limit as it is written, such as ``"95 degC"``."""
        return f"{convert(self.limit, 'temperature'):.4g} degC"

    @property
    def ready(self) -> bool:
        """Whether answers on the screen are quick."""
        return all(self.quick(index).ready for index in self.pair)

    @property
    def settled(self) -> bool:
        """Whether the answers on the screen are exact."""
        keys = [self._key(index) for index in self.pair]
        return all(key in self._exact and (key, self.limit) in self._headroom for key in keys)

    # -- what is done to it

    def move(self, path: str, si: float) -> None:
        """Move an input [SI]."""
        if self.values.get(path) != si:
            self.values[path] = si
            self._changed("moved")

    def set_limit(self, kelvin: float) -> None:
        """Set the junction temperature to which headroom is stated. [K]"""
        self.limit = kelvin
        self._changed("moved")

    def show(self, index: int, against: int | None = None) -> None:
        """Show another variant, and compare with another one if told."""
        self.shown = index
        self.against = self.against if against is None else against
        self._changed("variant")
        self._begin()

    def reset(self) -> None:
        """Put every input back to what is described."""
        self.values.clear()
        self._changed("variant")

    def _changed(self, event: str) -> None:
        self._bands.cancel()
        self._tell(event)
        if not self.settled:
            self._ask_exact()
        else:
            self._settle.cancel()
            self._at_rest()

    # -- the slow parts

    def _ask_exact(self) -> None:
        values, limit, text = dict(self.values), self.limit, self.limit_text
        wanted = [(self._key(index), self.quick(index)) for index in self.pair]

        def work(stop: Stop) -> list[tuple[Key, Prediction, float]]:
            found = []
            for key, quick in wanted:
                if stop():
                    break
                exact = self._exact.get(key) or quick.exact(values)
                found.append((key, exact, float(exact.headroom(text).magnitude)))
            return found

        def arrived(found: list[tuple[Key, Prediction, float]]) -> None:
            for key, exact, headroom in found:
                self._exact[key] = exact
                self._headroom[key, limit] = headroom
            while len(self._exact) > KEPT:
                del self._exact[next(iter(self._exact))]
            while len(self._headroom) > KEPT:
                del self._headroom[next(iter(self._headroom))]
            self._at_rest()

        self._settle.ask(work, arrived, self._failed)

    def _at_rest(self) -> None:
        """Say that the exact answers are there, and have the samples drawn."""
        self._tell("settled")
        pair = self._key(self.against), self._key(self.shown)
        if pair[0] == pair[1] or pair in self._interval or not self.sampled:
            return
        before, after = self.stack(self.against), self.stack()

        def work(stop: Stop) -> Summary:
            return compare(before, after, samples=SAMPLES, progress=False).drop(1)

        def arrived(found: Summary) -> None:
            self._interval[pair] = found
            self._tell("bands")

        self._bands.ask(work, arrived, self._failed)

    def _begin(self) -> None:
        """Have the exact answer worked out, and quick answers prepared for what is on the screen."""
        if not self.settled:
            self._ask_exact()
        waiting = [self.quick(index) for index in self.pair if not self.quick(index).ready]
        if waiting:
            self._prepare.ask(
                lambda stop: [quick.prepare(stop) for quick in waiting], lambda _: self._tell("ready"), self._failed
            )
