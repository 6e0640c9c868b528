"""The check of a measured result: verdict, what could explain it, and what to measure next.

The room is called *checking* since `thermostack.check` is the function, which no module may hide.

* ``check(*states, samples=4000, seed=0, level=None, resolve=None, causes=(), pairs=False, ...) -> Check``;
* ``expected_information(weights, means, covariance, groups, *, steps=None, broad=(), draws=1000, seed=0)`` is the one
  function by which measurements are ranked, after a result as before a mod: K components (a cause at some of its
  sizes) with their probabilities ``weights`` (K,), what each lets expect of D new data ``means`` (K, D) given what is
  known so far, their common ``covariance`` (D, D), and which components are one group ``groups`` (K,) of int; ``steps``
  (K, D) where a component is spread evenly from its mean to mean + step, ``broad`` for those of their own covariance.
  ``Information.nats`` is the expected fall of the entropy over the groups, ``.outcomes`` what each would come out as;
* ``foresee(stack, mod, *, solver, draws, seed) -> Foresight`` ranks by it what to record before a mod;
* a cause of your own is a `Cause` with a `Departure` (another stack) or a `Misreading` (of what was read);
  ``aged_paste(stack, cycles)`` is one that is not asked about unless the cycles are told.
"""

from .aged import aged_paste
from .cause import Cause, Departure, Misreading, with_extra_resistance
from .examine import Check, check
from .foresight import Foreseen, Foresight, foresee
from .information import Broad, Information, expected_information

__all__ = [
    "Broad",
    "Cause",
    "Check",
    "Departure",
    "Foreseen",
    "Foresight",
    "Information",
    "Misreading",
    "aged_paste",
    "check",
    "expected_information",
    "foresee",
    "with_extra_resistance",
]
