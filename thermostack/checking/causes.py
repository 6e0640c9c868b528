"""What could explain the readings: posterior probabilities of the causes, in groups that cannot be split."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from ..errors import UnknownNameError, suggest
from ..tables import Column, Table, format_number
from ..units import Value, convert, unit_text
from .besides import NOTHING, Besides, with_chances
from .cause import Cause
from .effect import SCALES, Effect, Effects
from .evidence import DRAWS, Evidence, evidence_of
from .groups import groups_of
from .pairing import Pair, pairs_of
from .scored import Scored
from .straight import Linear

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["DESCRIBED", "UNLISTED", "Causes", "Group", "Ranked", "causes_of"]

Float = NDArray[np.float64]

DESCRIBED, UNLISTED = "as described", "something not listed"
DESCRIBED_ODDS = 1.0
"""Prior odds of the described stack against all causes together: even (assumed)."""
POINTS, LEFT = 0.5, 0.05
"""A group is pointed to if it has at least this probability, and the described stack at most this, at every scale."""
NAMED = 4
"""So many of a group are named in a sentence; the table names all."""
MENTIONED = 0.3
"""Probability from which it is said what came besides a cause, were it the cause."""
SURELY = 0.95
"""Probability from which it counts as there whichever of a group is the case."""
ROUGH, BEHIND, REACHES = 1.0, 10.0, 3.0
"""Error of ln evidence from which it may not order causes, if so many of it reach from one to the other; and how far
behind the first it does not matter."""
PLAUSIBLE = 0.05
"""A cause less probable than this share of the best of its group is not among those that cannot be split from it."""


@dataclass(frozen=True, eq=False)
class Ranked:
    """One cause after the readings.

    Attributes
    ----------
    name, sentence : str
    cause : Cause or None
        None: as described, or not listed.
    probability, low, high : float
        With sizes as stated; least and most over half to double sizes.
    size, spread : float
        Posterior mean and standard deviation of its size. SI.
    told : str
        Its most probable way.
    came : str
        What almost surely came by chance if it is the case (itself, if it comes by chance): cause and way in words.
    log_evidence, error, effective_size : float
        NaN size: Laplace's approximation stands, moved as samples moved that of others.
    linear : Linear
        The readings straight about the most probable point of its most probable way.
    group : int
    """

    name: str
    sentence: str
    cause: Cause | None
    probability: float
    low: float
    high: float
    size: float
    spread: float
    told: str
    came: str
    log_evidence: float
    error: float
    effective_size: float
    linear: Linear
    group: int

    @property
    def sized(self) -> str:
        """Its size in words; empty for none."""
        if self.cause is None:
            return ""
        one, unit = _shown_in(self.cause.dimension)
        return f"{format_number(self.size * one, 2)} {unit} (sd {format_number(self.spread * one, 2)})"


def _shown_in(dimension: str) -> tuple[float, str]:
    """Return the number that one SI unit of a size is shown as, and the unit that it is shown in."""
    if dimension == "fraction":
        return 100.0, "%"
    return float(convert(1.0, dimension) - convert(0.0, dimension)), unit_text(dimension)


def _sized(size: Value) -> str:
    one, unit = _shown_in(size.dimension)
    return f"{format_number(size.si * one, 3)} {unit}"


@dataclass(frozen=True, eq=False)
class Group:
    """Causes that what was recorded cannot split.

    Attributes
    ----------
    members : tuple of Ranked
        Most probable first.
    probability, low, high : float
        Of all of them together.
    """

    members: tuple[Ranked, ...]
    probability: float
    low: float
    high: float

    @property
    def name(self) -> str:
        """Names of its members."""
        return " / ".join(member.name for member in self.members)

    @property
    def short(self) -> str:
        """Names of the most probable members, and how many others there are."""
        names = [member.name for member in self.members]
        return " / ".join(names if len(names) <= NAMED + 1 else [*names[:NAMED], f"{len(names) - NAMED} others"])


@dataclass(frozen=True, eq=False)
class Causes:
    """What could explain the readings. Made by `check`.

    Attributes
    ----------
    ranked : tuple of Ranked
        Most probable first; "as described" and "something not listed" among them.
    groups : tuple of Group
        Most probable first.
    moved : float
        By how many standard deviations the best cause brings prediction and readings nearer to each other.
    evidence : Evidence
    effects : Effects
    active : tuple of Effect
        In the order of the evidence.
    besides : tuple of Besides
        What may have come with each of them.
    scored : Scored
    pairs : tuple of Pair
        Two causes at once, where asked for.
    """

    ranked: tuple[Ranked, ...]
    groups: tuple[Group, ...]
    moved: float
    evidence: Evidence
    effects: Effects
    active: tuple[Effect, ...]
    besides: tuple[Besides, ...]
    scored: Scored
    pairs: tuple[Pair, ...] = ()

    def __getitem__(self, name: str) -> Ranked:
        """Return a cause by its name."""
        known = [each.name for each in self.ranked]
        if name not in known:
            raise UnknownNameError(f"no cause is named {name!r}; {suggest(str(name), known)}")
        return self.ranked[known.index(name)]

    @property
    def pointed_to(self) -> Group | None:
        """The group that the readings point to at every scale of the sizes; None: cannot tell."""
        best = self.groups[0]
        described = self[DESCRIBED]
        if self.rough or best.members[0].name == DESCRIBED or best.low < POINTS or described.high > LEFT:
            return None
        return best

    @property
    def rough(self) -> tuple[Ranked, ...]:
        """The first, and those near it, whose evidence is hardly known; empty where evidence is known well."""
        first, second = sorted((r.log_evidence for r in self.ranked), reverse=True)[:2]

        def may_differ(r: Ranked) -> bool:
            gap = first - r.log_evidence if r.log_evidence < first else first - second
            return r.error > ROUGH and REACHES * r.error >= gap and first - r.log_evidence <= BEHIND

        return tuple(r for r in self.ranked if may_differ(r))

    @property
    def conclusion(self) -> str:
        """What they say, in a sentence."""
        best, described = self.groups[0], self[DESCRIBED]
        if self.rough:
            worst = max(self.rough, key=lambda r: r.error)
            return (
                "Cannot tell: the readings lie so far from all that was described that evidence is known to "
                f"{format_number(worst.error, 2)} only, in its logarithm (“{worst.name}”). Look at what was read "
                "first: power, coolant, units, which part and which state."
            )
        span = _span(best.low, best.high)
        if self.pointed_to is None:
            return (
                f"Cannot tell: the described stack keeps {_span(described.low, described.high)}, and of "
                f"what else it could be “{best.short}” comes first with {span}."
                if best.members[0].name != DESCRIBED
                else f"Cannot tell that anything else is the case: the described stack comes first with {span}."
            )
        came = {member.came for member in best.members}
        if len(best.members) > 1 and len(came) == 1 and "" not in came:
            return f"The readings point to {came.pop()} ({span}); whether anything else came with it they do not tell."
        if len(best.members) > 1:
            return f"The readings point to one of these, which they cannot split ({span} together): {best.short}."
        return f"The readings point to “{best.name}” ({span})."

    @cached_property
    def table(self) -> Table:
        """A row a cause, most probable first."""
        columns = (
            Column("group", "group", align="left"), Column("cause", "cause", wrap=46),
            Column("probability", "probability", ".2f"), Column("low", "least", ".2f"), Column("high", "most", ".2f"),
            Column("size", "its size, if so"), Column("told", "where"),
            Column("log_evidence", "ln evidence", ".2f"), Column("error", "error", ".2f"),
            Column("effective_size", "worth samples", ".0f"),
        )  # fmt: skip
        letters = {g: chr(ord("A") + i) if i < 26 else str(i) for i, g in enumerate(self._order)}
        rows = tuple(
            (
                letters[r.group], r.name, r.probability, r.low, r.high, r.sized or None, r.told or None,
                r.log_evidence, r.error, None if math.isnan(r.effective_size) else r.effective_size,
            )
            for r in self.ranked
        )  # fmt: skip
        return Table(columns, rows, "What could explain the readings", self.notes)

    @property
    def _order(self) -> list[int]:
        return list(dict.fromkeys(group.members[0].group for group in self.groups))

    @property
    def notes(self) -> tuple[str, ...]:
        """How the probabilities came about."""
        return (
            "Least and most: with all sizes half to double of what is assumed. Causes of one group cannot be split by "
            "what was recorded.",
            f"Prior odds: the described stack against all causes together {DESCRIBED_ODDS:g} : 1, the causes alike "
            "unless they say otherwise. Their sizes, and where those come from: .sizes.",
            *(
                f"“{c.name}” comes by chance, {format_number(100 * c.chance, 3)} % each, with any other cause or alone."
                for c in self.effects.causes
                if c.chance
            ),
            "Where no samples stand, ln evidence is Laplace's approximation, moved as samples moved the others."
            if any(math.isfinite(r.effective_size) for r in self.ranked)
            else "ln evidence is Laplace's approximation: there are no samples.",
            *self.effects.left_out,
        )

    @property
    def sizes(self) -> Table:
        """The causes with the prior of their sizes and its source."""
        columns = (
            Column("cause", "cause"), Column("sentence", "what happened", wrap=60), Column("size", "size (sd)"),
            Column("largest", "at most"), Column("sides", "sign"), Column("odds", "odds"),
            Column("chance", "chance", ".3f"), Column("source", "source", wrap=50),
        )  # fmt: skip
        rows = tuple(
            (
                c.name,
                c.sentence,
                _sized(c.size),
                _sized(c.largest),
                "either" if c.two_sided else "one",
                None if c.chance else c.odds,
                c.chance or None,
                c.source,
            )
            for c in self.effects.causes
        )
        return Table(columns, rows, "Causes and their sizes", ("half-normal, or normal of either sign",))

    def to_dict(self) -> dict[str, Any]:
        """Return the causes as plain data."""
        return {
            "conclusion": self.conclusion,
            "causes": self.table.to_dict(),
            "groups": [
                {"members": [m.name for m in g.members], "probability": g.probability, "low": g.low, "high": g.high}
                for g in self.groups
            ],
            "sizes": self.sizes.to_dict(),
            "pairs": [vars(pair).copy() for pair in self.pairs],
        }

    def __str__(self) -> str:
        pairs = f"\n\n{self.pairs_table}" if self.pairs else ""
        return f"{self.conclusion}\n\n{self.table}{pairs}"

    @property
    def pairs_table(self) -> Table:
        """The most probable pairs of causes, with how much more probable than the better of the two alone."""
        columns = (
            Column("first", "cause"), Column("second", "and"), Column("log_evidence", "ln evidence", ".2f"),
            Column("gain", "gain over one alone", ".2f"),
        )  # fmt: skip
        rows = tuple((p.first, p.second, p.log_evidence, p.gain) for p in self.pairs[:10])
        note = "A pair must gain more than about 3 to be worth its second cause."
        return Table(columns, rows, "Two causes at once", (note,))

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the probabilities with their ranges."""
        from ..plots import causes

        return causes(self, ax=ax)

    def _repr_html_(self) -> str:
        import html

        pairs = self.pairs_table._repr_html_() if self.pairs else ""
        return f"<p>{html.escape(self.conclusion)}</p>{self.table._repr_html_()}{pairs}"


def _span(low: float, high: float) -> str:
    """Return a range of probabilities in words."""
    first, last = _percent(low), _percent(high)
    return (
        first
        if first == last
        else f"{first.removesuffix(' %')} to {last}"
        if "<" not in first
        else f"{first} to {last}"
    )


def _percent(p: float) -> str:
    return f"{100 * p:.0f} %" if 0.01 <= p <= 0.99 else ("< 1 %" if p < 0.01 else "> 99 %")


def prior_probabilities(causes: Sequence[Cause]) -> Float:
    """Return those of the causes, of the described stack, and of what is not listed (which counts as one cause).

    Causes that come by chance, whatever else is the case, share with the described stack what it has: they are what
    they are with nothing else besides.
    """
    odds = np.array([*(cause.odds * (cause.chance == 0) for cause in causes), 0.0, 1.0])
    ways = [cause.chance for cause in causes for _ in cause.ways if cause.chance]
    alone = with_chances(ways)
    described = DESCRIBED_ODDS * odds.sum()
    odds[-2] = described * alone[0]
    place = 1
    for c, cause in enumerate(causes):
        if cause.chance:
            odds[c] = described * alone[place : place + len(cause.ways)].sum()
            place += len(cause.ways)
    return np.asarray(odds / odds.sum())


def besides_of(causes: Sequence[Cause], active: Sequence[Effect]) -> list[Besides]:
    """Return what may come with each effect: all that comes by chance, but not with one of its own kind."""
    chances = [causes[e.cause].chance for e in active]
    chance = Besides(tuple(e for e, p in zip(active, chances, strict=True) if p), tuple(p for p in chances if p))
    return [NOTHING if p else chance for p in chances]


def causes_of(
    scored: Scored, observed: Float, effects: Effects, *, draws: int = DRAWS, seed: int = 0, pairs: bool = False
) -> Causes:
    """Return the posterior probabilities of causes.

    Parameters
    ----------
    scored : Scored
    observed : ndarray (D,)
        [K]
    effects : Effects
    draws : int
        Samples; 0: Laplace's approximation.
    seed : int
    pairs : bool
        Also two causes at once.
    """
    active = effects.on(scored.model)
    besides = besides_of(effects.causes, active)
    found = evidence_of(scored, observed, active, besides=besides, draws=draws, seed=seed)
    n = len(effects.causes)
    ways = [[i for i, e in enumerate(active) if e.cause == c] for c in range(n)]
    log_evidence, error, best = np.empty((n + 2, len(SCALES))), np.empty(n + 2), []
    for c, mine in enumerate(ways):
        shares = np.log([active[i].share for i in mine])[:, None]
        log_evidence[c] = np.logaddexp.reduce(found.log_evidence[mine] + shares, axis=0)
        top = mine[int(np.argmax(found.log_evidence[mine, 1]))]
        best.append(top)
        error[c] = found.error[top]
    log_evidence[n:], error[n:] = found.log_evidence[-2:], found.error[-2:]
    best += [len(active), len(active) + 1]
    prior = prior_probabilities(effects.causes)
    weight = np.log(prior)[:, None] + log_evidence
    probability = np.exp(weight - np.logaddexp.reduce(weight, axis=0))
    chances = [effects.causes[e.cause].chance > 0 for e in active]
    label, moved = _grouped(found, active, best, log_evidence[:, 1], scored.noise, chances)
    names = [*(c.name for c in effects.causes), DESCRIBED, UNLISTED]
    sentences = [
        *(c.sentence for c in effects.causes),
        "Nothing else: inputs within what was known of them explain the readings.",
        "Something that is not in this list moved the readings before, after, or single sensors.",
    ]
    ranked = [
        Ranked(
            names[c], sentences[c], effects.causes[c] if c < n else None, float(p[1]), float(p.min()), float(p.max()),
            found.linear[best[c]].size, found.linear[best[c]].spread,
            *(_told(effects.causes, active, best[c], besides, found.linear[best[c]]) if c < n else ("", "")),
            float(log_evidence[c, 1]), float(error[c]), float(found.effective_size[best[c]]), found.linear[best[c]],
            int(label[c]),
        )
        for c, p in enumerate(probability)
    ]  # fmt: skip
    groups = []
    for g in sorted(set(label.tolist())):
        mine = [c for c in range(n + 2) if label[c] == g]
        together = probability[mine].sum(axis=0)
        members = tuple(sorted((ranked[c] for c in mine), key=lambda r: -r.probability))
        groups.append(Group(members, float(together[1]), float(together.min()), float(together.max())))
    groups.sort(key=lambda group: -group.probability)
    order = {group.members[0].group: i for i, group in enumerate(groups)}
    ranked.sort(key=lambda r: (order[r.group], -r.probability))
    double = pairs_of(scored, observed, effects, active, found, ways) if pairs else ()
    return Causes(tuple(ranked), tuple(groups), moved, found, effects, active, tuple(besides), scored, double)


def _told(
    causes: Sequence[Cause], active: Sequence[Effect], way: int, besides: Sequence[Besides], linear: Linear
) -> tuple[str, str]:  # fmt: skip
    """Return the way in words, with what probably came besides; and what almost surely came by chance."""

    def words(effect: Effect) -> str:
        return f"{causes[effect.cause].name}, {effect.told}" if effect.told else causes[effect.cause].name

    told = [active[way].told] if active[way].told else []
    came = f"“{words(active[way])}”" if causes[active[way].cause].chance else ""
    shares = np.bincount(besides[way].of, linear.points)
    if len(shares) > 1 and shares[1:].max() >= MENTIONED:
        k = 1 + int(np.argmax(shares[1:]))
        effect = besides[way].effects[k - 1]
        told.append(f"besides {words(effect)} ({_percent(float(shares[k]))})")
        if shares[k] >= SURELY:
            came = f"“{words(effect)}”"
    return "; ".join(told), came


def _grouped(
    found: Evidence,
    active: Sequence[Effect],
    best: Sequence[int],
    log_evidence: Float,
    noise: Float,
    by_chance: Sequence[bool],
) -> tuple[NDArray[np.intp], float]:
    """Return the group of each cause, of the described stack and of what is not listed; and how far readings moved."""
    described = found.linear[-2]
    n = len(best) - 2
    # a bad mount may be there whatever else is the case: what it explains does not split the others
    without = min(described.square, *(found.linear[i].square for i, chance in enumerate(by_chance) if chance), math.inf)
    least = min((found.linear[i].square for i in best[:n]), default=without)
    moved = math.sqrt(max(without - least, 0.0))
    L = np.linalg.cholesky(described.slopes @ described.slopes.T + noise)
    signatures, lines = np.zeros((n, len(L))), np.zeros(n, dtype=bool)
    for c, i in enumerate(best[:n]):
        effect, linear = active[i], found.linear[i]
        shift = linear.shift
        white = linalg.solve_triangular(L, shift, lower=True)
        if np.linalg.norm(white) < 0.5:  # its best size is next to nothing: what it would do, of either sign
            shift = effect.starts(linear.y * 0 + 1.0)[-1] if effect.gain else effect.shifts[-1]
            lines[c] = bool(effect.edges[0] < 0)
            white = linalg.solve_triangular(L, shift, lower=True)
        signatures[c] = white
    raw = groups_of(signatures, lines, moved)
    # evidence splits as well: what is far less probable than the best of its group stands by itself
    label, fresh = np.empty(n + 2, dtype=np.intp), int(raw.max(initial=0)) + 1
    for c in range(n):
        top = max(log_evidence[k] for k in range(n) if raw[k] == raw[c])
        label[c] = raw[c]
        if log_evidence[c] < top + math.log(PLAUSIBLE):
            label[c], fresh = fresh, fresh + 1
    label[n], label[n + 1] = fresh, fresh + 1
    return label, moved
