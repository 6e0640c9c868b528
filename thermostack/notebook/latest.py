"""Slow work beside a panel that goes on answering: only what was asked last counts, and nothing piles up."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from functools import cache
from typing import Any, Literal, TypeAlias

__all__ = ["Latest", "Stop"]

Stop: TypeAlias = Callable[[], bool]
"""Says whether the work has been overtaken, so that it may end early."""
Lane = Literal["soon", "later", "asked", "background"]


@cache
def _lane(name: Lane) -> ThreadPoolExecutor:
    """Return one of four threads: tenths of a second, a second, what a button asks for, and what may wait."""
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix=f"thermostack-{name}")


class Latest:
    """Work of one kind, of which only the latest counts.

    In a kernel it is done in a thread after a pause without a further request, and its result is handed over on the
    kernel's own thread; what was overtaken in the meantime is dropped. Where no event loop runs (in a plain Python
    process) it is done at once.

    Parameters
    ----------
    lane : {"soon", "later", "asked", "background"}
    pause : float
        Without another request, before it begins. [s]
    """

    def __init__(self, lane: Lane = "soon", pause: float = 0.2) -> None:
        self._lane: Lane = lane
        self._pause = pause
        self._number = 0
        self._waiting: asyncio.TimerHandle | None = None
        self.busy = False

    def ask(
        self, work: Callable[[Stop], Any], done: Callable[[Any], None], failed: Callable[[Exception], None]
    ) -> None:
        """Do `work`, unless something else is asked before; then call `done` with its result, or `failed`."""
        self.cancel()
        number = self._number
        self.busy = True

        def overtaken() -> bool:
            return number != self._number

        def hand_over(result: Any, error: Exception | None) -> None:
            if overtaken():
                return
            self.busy = False
            if error is not None:
                failed(error)
                return
            try:
                done(result)
            except Exception as wrong:
                failed(wrong)

        def run() -> tuple[Any, Exception | None]:
            if overtaken():
                return None, None
            try:
                return work(overtaken), None
            except Exception as error:
                return None, error

        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            hand_over(*run())
            return

        def back(future: Future[tuple[Any, Exception | None]]) -> None:
            with suppress(RuntimeError):  # the loop is closed: the kernel ends, and nobody waits for this any more
                loop.call_soon_threadsafe(hand_over, *future.result())

        def begin() -> None:
            self._waiting = None
            future = _lane(self._lane).submit(run)
            future.add_done_callback(back)

        self._waiting = loop.call_later(self._pause, begin)

    def cancel(self) -> None:
        """Drop what was asked; a thread that is at it ends when it next looks."""
        self._number += 1
        self.busy = False
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None
