"""A model evaluated for samples, chunk by chunk, here or by an executor; an interrupt keeps what is done."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from concurrent.futures import CancelledError, Executor, Future, as_completed
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .sampling import Sampler, check_count

__all__ = ["Model", "Run", "evaluate"]

Float = NDArray[np.float64]
Model: TypeAlias = Callable[[Mapping[str, Float]], Float]
"""Takes samples (S,) by path and returns results (S, …)."""

CHUNK = 1000


@dataclass(frozen=True, eq=False)
class Run:
    """Results of a model for the samples that were finished.

    Attributes
    ----------
    results : ndarray (S, …)
        What the model returned.
    numbers : ndarray (S,)
        Which samples these are.
    block : int
        Samples that depend on one another (see `Sampler.block`); neighbours in `results`.
    asked : int
        How many samples were asked for.
    notes : tuple of str
        What to know of this run.
    """

    results: Float
    numbers: NDArray[np.int64]
    block: int
    asked: int
    notes: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether all samples were finished."""
        return len(self.numbers) == self.asked


def _chunk(model: Model, sampler: Sampler, start: int, stop: int) -> Float:
    results = np.asarray(model(sampler.draw(start, stop)), dtype=np.float64)
    if results.ndim < 1 or results.shape[0] != stop - start:
        raise InputError(
            f"the model returned shape {results.shape} for {stop - start} samples",
            where="model",
            expected=f"an array ({stop - start}, …)",
        )
    return results


def evaluate(
    model: Model,
    sampler: Sampler,
    samples: int,
    *,
    first: int = 0,
    chunk: int = CHUNK,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> Run:
    """Evaluate a model for the samples `first` to `first + samples`.

    Parameters
    ----------
    model : callable
        Takes a mapping of path to samples (S,) and returns an array (S, …). For processes it must be picklable.
    sampler : Sampler
        Draws the samples, in whichever process evaluates them.
    samples : int
        How many. Latin hypercubes come whole: a multiple of `BLOCK`.
    first : int
        Number of the first sample.
    chunk : int
        Samples that the model gets at once. Chunks are the same whoever evaluates them.
    executor : concurrent.futures.Executor, optional
        Evaluates chunks; without it they are evaluated one after the other, here. The figures are the same.
    progress : bool, optional
        Whether to show a progress bar; by default in a terminal or a notebook only.

    Returns
    -------
    Run
        All samples in order; after a KeyboardInterrupt those of the chunks that were finished, with a note.

    Raises
    ------
    InputError
        If a count is not a whole number above zero, or the model returns another shape.
    KeyboardInterrupt
        If it is interrupted before the first chunk was finished.
    """
    samples, chunk = check_count(samples), check_count(chunk, "chunk")
    first = check_count(first, "first", least=0)
    block = sampler.block
    if samples % block or first % block:
        wrong, name = (samples, "samples") if samples % block else (first, "first")
        raise InputError(
            f"{wrong} is not a multiple of {block}, the size of a Latin hypercube",
            where=name,
            expected=f"a number such as {-(-wrong // block) * block}",
        )
    chunk = -(-chunk // block) * block
    starts = range(first, first + samples, chunk)
    ranges = [(start, min(start + chunk, first + samples)) for start in starts]
    done: dict[int, Float] = {}
    interrupted = False
    with _bar(samples, progress) as bar:
        try:
            if executor is None:
                for start, stop in ranges:
                    done[start] = _chunk(model, sampler, start, stop)
                    bar.update(stop - start)
            else:
                _by_executor(executor, model, sampler, ranges, done, bar)
        except KeyboardInterrupt:
            if not done:
                raise
            interrupted = True
    kept = [(start, stop) for start, stop in ranges if start in done]
    numbers = np.concatenate([np.arange(start, stop) for start, stop in kept])
    notes = (f"interrupted: {len(numbers)} of {samples} samples were finished and are used",) if interrupted else ()
    return Run(np.concatenate([done[start] for start, _ in kept]), numbers, block, samples, notes)


def _by_executor(
    executor: Executor,
    model: Model,
    sampler: Sampler,
    ranges: list[tuple[int, int]],
    done: dict[int, Float],
    bar: Any,
) -> None:
    """Evaluate chunks by an executor into `done`; on an error or interrupt no further chunk is begun."""
    futures: dict[Future[Float], tuple[int, int]] = {}
    try:
        for start, stop in ranges:
            futures[executor.submit(_chunk, model, sampler, start, stop)] = (start, stop)
        for future in as_completed(futures):
            start, stop = futures[future]
            done[start] = future.result()
            bar.update(stop - start)
    except BaseException as error:
        for future in futures:
            future.cancel()
        if isinstance(error, KeyboardInterrupt):  # keep what was finished and not yet collected
            for future, (start, _) in futures.items():
                if start not in done and future.done():
                    try:
                        done[start] = future.result()
                    except (Exception, CancelledError, KeyboardInterrupt):
                        continue  # a worker that was interrupted with us
        raise


class _NoBar:
    def update(self, count: int) -> None:
        """Show nothing."""


def _bar(total: int, progress: bool | None) -> Any:
    """Return a progress bar as a context, or one that shows nothing."""
    if progress is None:
        progress = sys.stderr.isatty() or _in_notebook()
    if not progress:
        return nullcontext(_NoBar())
    from tqdm.auto import tqdm

    return tqdm(total=total, unit=" samples", desc="samples")


def _in_notebook() -> bool:
    shell = getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()
    return getattr(shell, "kernel", None) is not None
