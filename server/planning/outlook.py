"""When the layers still to come can go on, when the panel is finished, and whether it makes its date.

Each layer waits for the one below to be dry-to-recoat. The waits are uncertain and hang together, so ranges are not
added up: the chain is drawn `DRAWS` times and its own percentiles are read off. (Adding the p90 of each wait
promises dates about a seventh too late; adding the p50 breaks them half of the time.)

All times are days from one instant, "now". The painter is taken to paint as soon as a layer may take the next one:
working hours, easels and other panels are no part of this.

Waits of one studio share what is uncertain about it: the base rate, the light, the temperature law and an unmeasured
room act on all layers alike; the pigments and the observer do not. From the stated prior spreads (sd of the natural
logarithm: base 0.35, light 0.35, room 0.45 against pigment 0.25 and observer 0.25) the shared part of the variance is
0.45 / 0.57 with an unmeasured room and 0.24 / 0.37 with a measured one; `SHARED_VARIANCE` lies between. It is derived
from assumptions and an assumption itself.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from server.science.results import StageRange
from server.science.soundness.types import Finding
from server.science.stages import odds_reached

DRAWS = 2048
SHARED_VARIANCE = 0.7
SEED = 20_111  # any fixed number: the same studio always gets the same answer
Z90 = NormalDist().inv_cdf(0.9)
MAX_LAYERS = 64
EDGE_D = 1e-6  # an instant that falls on a day's start but for rounding counts as that start

Days = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DayRange:
    """An instant still ahead, in days from now, by its percentiles and at the studio's confidence."""

    p10_d: float
    p50_d: float
    p90_d: float
    planned_d: float


@dataclass(frozen=True, slots=True)
class DueRisk:
    """Whether a date is kept. ``odds`` is the chance, 0 to 1; ``at_risk`` is odds below the studio's confidence."""

    odds: float
    at_risk: bool


@dataclass(frozen=True, slots=True)
class Outlook:
    """The rest of a panel's life: ``starts`` of the layers to come, lowest first, and the ``finish``.

    ``opens_d``: for each thing that is done to it after its last layer, the central day from which it may be.
    ``stopped``: the first layer to come that a rule stops for good, or for longer than anybody waits, by its place,
    with what stops it; nothing is said of the date then, nor of the days of that one and of all after it.
    ``stop_ends_d``: the day on which that is over, where the rule names one; that one layer has its days then.
    """

    starts: tuple[DayRange, ...]
    finish: DayRange
    due: DueRisk | None
    opens_d: tuple[float, ...] = ()
    stopped: tuple[int, Finding] | None = None
    stop_ends_d: float | None = None

    @property
    def goes_on(self) -> int:
        """Of how many layers to come, from the next one up, it is known when they can go on."""
        if self.stopped is None:
            return len(self.starts)
        return self.stopped[0] + (self.stop_ends_d is not None)


@dataclass(frozen=True, slots=True)
class Chain:
    """A chain of layers worked out so far.

    ``at_d`` holds, for each draw, the day on which the next layer can go on; ``length`` counts the waits in it.
    """

    at_d: Days
    length: int = 0


def begin(below: StageRange | None, age_d: float, *, open_now: bool) -> Chain:
    """Start with the layer that is there, ``age_d`` days old, whose dry-to-recoat range is ``below``.

    None means bare ground. ``open_now`` says that the next layer may go on today (the readiness rule decides that,
    not this module): then there is no wait. Otherwise the draws are of a film that has not recoated yet.
    """
    if below is None or open_now:
        return Chain(np.zeros(DRAWS))
    return Chain(_remaining(below, age_d, 0), 1)


def hold(chain: Chain, not_before_d: float | Days) -> Chain:
    """The chain when its next layer goes on no sooner than ``not_before_d`` (a planned day, a rule's date), or than
    that of its draw."""
    return Chain(np.maximum(chain.at_d, not_before_d), chain.length)


def lay(chain: Chain, recoat: StageRange) -> Chain:
    """Lay the next layer and wait for it: ``recoat`` is its dry-to-recoat range in days after painting."""
    return Chain(chain.at_d + _durations(recoat, chain.length), chain.length + 1)


def start_of(chain: Chain, confidence: float) -> DayRange:
    """When the chain's next layer can go on; ``confidence`` is the quantile 0 to 1 of ``planned_d``."""
    return _range(chain.at_d, confidence)


def finish_of(chain: Chain, last: StageRange, confidence: float) -> tuple[DayRange, Days]:
    """When the last layer, laid where the chain stands, reaches the stage whose range is ``last``.

    Returns the range and the draws, for `due_risk`.
    """
    finish = chain.at_d + _durations(last, chain.length)
    return _range(finish, confidence), finish


def finish_of_painted(last: StageRange, age_d: float, confidence: float) -> tuple[DayRange, Days]:
    """The same for a panel whose last layer is on already and ``age_d`` days old."""
    # The film may be there already: a wait that is over is no wait.
    finish = np.maximum(_durations(last, 0) - age_d, 0.0)
    return _range(finish, confidence), finish


def dry_when_painted(last: StageRange, age_d: float) -> Days:
    """When a last layer that is on already, ``age_d`` days old, reaches a stage: before now where it has."""
    return _durations(last, 0) - age_d


def waits_after(last: Chain, waits: Sequence[StageRange]) -> list[Days]:
    """When each wait that begins with the last layer is over, laid where the chain stands; they share their luck."""
    return [last.at_d + _durations(wait, last.length) for wait in waits]


def delivered(ready: Days, packing_d: float, sends_d: float, transit_d: float) -> Days:
    """The whole day on which a panel that is ready to be packed at ``ready`` arrives, counted from today.

    Packing begins with the first day at whose start it is ready, as a plan counts it; what could have been packed by
    now is. It is on its way from ``sends_d`` on at the earliest.
    """
    packed = np.ceil(ready - EDGE_D) + packing_d
    return np.maximum(packed, max(0.0, sends_d)) + transit_d


def due_risk(finish: Days, due_d: float, confidence: float) -> DueRisk:
    """The chance that ``finish`` comes by ``due_d``, both in days from now; what is still to come never comes by a day
    that is past."""
    odds = float(np.mean(finish <= due_d))
    return DueRisk(odds, odds < confidence)


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One layer to come. ``recoat`` and ``done`` give its ranges when laid so many days from now.

    ``done`` is the stage that counts as finished, should this be the last layer: dry-to-touch, unless the painter
    stated a longer final wait. ``not_before_d`` is the day it was planned for, if any.
    """

    recoat: Callable[[float], StageRange]
    done: Callable[[float], StageRange]
    not_before_d: float = 0.0


def outlook(chain: Chain, steps: Sequence[PlannedStep], confidence: float, due_d: float | None = None) -> Outlook:
    """Walk the whole chain of one panel. Needs at least one step; raises ValueError otherwise.

    The ranges of a step are taken at the median day of its start, so that a layer laid in a colder month waits
    longer. Services that estimate many panels together take the same walk with `hold`, `lay` and `finish_of`.
    """
    if not steps:
        raise ValueError("an outlook needs a layer to come")
    starts = []
    for number, step in enumerate(steps):
        chain = hold(chain, step.not_before_d)
        start = start_of(chain, confidence)
        starts.append(start)
        if number < len(steps) - 1:
            chain = lay(chain, step.recoat(start.p50_d))
    finish, draws = finish_of(chain, steps[-1].done(starts[-1].p50_d), confidence)
    due = None if due_d is None else due_risk(draws, due_d, confidence)
    return Outlook(tuple(starts), finish, due)


def _range(days: Days, confidence: float) -> DayRange:
    ordered = np.sort(days)
    p10, p50, p90, planned = (_quantile(ordered, chance) for chance in (0.1, 0.5, 0.9, confidence))
    return DayRange(p10, p50, p90, planned)


def _quantile(ordered: Days, chance: float) -> float:
    """As ``np.quantile`` has it, which takes several times as long for so few."""
    below, part = divmod(chance * (len(ordered) - 1), 1.0)
    low, high = ordered[int(below)], ordered[min(int(below) + 1, len(ordered) - 1)]
    return float(low + (high - low) * part if part < 0.5 else high - (high - low) * (1.0 - part))


def _durations(stage: StageRange, number: int) -> Days:
    return _quantiles(stage, scores(number))


def _remaining(stage: StageRange, age_d: float, number: int) -> Days:
    """Draws of the wait that is left, given that the stage is still ahead."""
    reached = odds_reached(stage, age_d)
    if reached > 1.0 - 1e-9:
        return np.zeros(DRAWS)
    chance = reached + (1.0 - reached) * _chances(number)
    return np.maximum(_quantiles(stage, _score_of(chance)) - age_d, 0.0)


def _quantiles(stage: StageRange, z: Days) -> Days:
    """Log-normal through p10, p50 and p90, one spread below the median and one above."""
    if stage.p50_d <= 0.0:
        return np.zeros_like(z)
    below = np.log(stage.p50_d / stage.p10_d) / Z90 if stage.p10_d > 0.0 else 0.0
    above = np.log(stage.p90_d / stage.p50_d) / Z90
    return stage.p50_d * np.exp(z * np.where(z < 0.0, below, above))


@cache
def _chances(number: int) -> Days:
    """Evenly spread chances 0 to 1 of wait ``number`` of a chain, tied to those of the other waits."""
    rng = np.random.default_rng((SEED, number % MAX_LAYERS))
    shared = _score_of((np.arange(DRAWS) + 0.5) / DRAWS)
    own = rng.permutation(shared)
    tied = np.sqrt(SHARED_VARIANCE) * shared + np.sqrt(1.0 - SHARED_VARIANCE) * own
    ranks = np.empty(DRAWS)
    ranks[np.argsort(tied, kind="stable")] = np.arange(DRAWS)
    return (ranks + 0.5) / DRAWS


@cache
def scores(number: int) -> Days:
    """What luck wait ``number`` of a chain has in each draw, as standard normal scores: the same for every chain."""
    return _score_of(_chances(number))


@cache
def _normal_table() -> tuple[Days, Days]:
    z = np.linspace(-5.0, 5.0, 4001)
    normal = NormalDist()
    return np.array([normal.cdf(value) for value in z]), z


def _score_of(chance: Days) -> Days:
    """The inverse of the normal distribution function, by table: within 1e-3 of z for chances of 1e-5 to 1 - 1e-5."""
    chances, z = _normal_table()
    return np.interp(chance, chances, z)
