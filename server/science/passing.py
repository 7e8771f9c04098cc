"""From which day a mix may go on: sound, or at the least without a stop and with no caution that it brings itself.

Some cautions lie in what is below: old paint, alkyd, zinc. No mix takes them away, and a search that asks for none
finds nothing. What a painter can use then is a mix that clears every stop and adds no caution to those that the mix as
it is has, now or on the same day; what stays is told with it. That this passes is a choice of ours.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from server.science.soundness.check import check
from server.science.soundness.remedies import later
from server.science.soundness.rule import WEIGHT
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Finding, Severity, Situation, Verdict

HORIZON_D = 400.0
MOST_TURNS = 60  # of the rules' answers that one mix is followed through
JUST_AFTER_D = 1e-6

Key = tuple[str, str]  # of a rule: its number and its title
Weights = dict[Key, int]


@dataclass(frozen=True, slots=True)
class Turn:
    """What the rules say from ``in_d`` days from now on, until the next turn."""

    in_d: float
    verdict: Verdict


def key_of(finding: Finding) -> Key:
    return finding.rule, finding.title


def turns(now: Situation, limits: Thresholds, until_d: float = HORIZON_D) -> Iterator[Turn]:
    """Every day on which an answer of the rules turns, from now on, as far as ``until_d``."""
    in_d, verdict = 0.0, check(now, limits)
    for _ in range(MOST_TURNS):
        yield Turn(in_d, verdict)
        in_d += verdict.unchanged_for_d + JUST_AFTER_D
        if in_d > until_d:
            return
        verdict = check(later(now, in_d), limits)


def stays(verdict: Verdict) -> tuple[Finding, ...]:
    """The findings that are more than a note."""
    return tuple([item for item in verdict.findings if WEIGHT[item.severity] >= WEIGHT[Severity.CAUTION]])


class AsItIs:
    """The mix as it is, day by day: what others are held against."""

    def __init__(self, followed: Sequence[Turn]) -> None:
        self._from_d = [turn.in_d for turn in followed]
        self._weights = [_weights(turn.verdict) for turn in followed]

    def allows(self, turn: Turn) -> bool:
        """Whether a mix has no stop then, and no caution that this one has neither now nor then."""
        now, then = self._weights[0], self._weights[bisect_right(self._from_d, turn.in_d) - 1]
        return turn.verdict.verdict is not Severity.STOP and all(
            WEIGHT[item.severity] <= max(now.get(key_of(item), 0), then.get(key_of(item), 0))
            for item in stays(turn.verdict)
        )


def _weights(verdict: Verdict) -> Weights:
    return {key_of(item): WEIGHT[item.severity] for item in verdict.findings}


@dataclass(frozen=True, slots=True)
class Deadline:
    """``by_d`` days from now until the end of the day, ``rest_d`` of them needed once it is on; ``allowed`` is the
    heaviest verdict that counts as sound."""

    by_d: float
    rest_d: float
    allowed: Severity

    def meets(self, turn: Turn) -> bool:
        return turn.in_d + self.rest_d <= self.by_d

    def is_sound(self, verdict: Verdict) -> bool:
        return WEIGHT[verdict.verdict] <= WEIGHT[self.allowed]


@dataclass(frozen=True, slots=True)
class Day:
    """The turn from which a mix may best go on; where there is none, its lightest turn and ``passes`` False."""

    turn: Turn
    passes: bool


def day_to_go_on(followed: Iterable[Turn], as_it_is: AsItIs, deadline: Deadline) -> Day:
    """When a mix may best go on.

    In time: the first day on which it is sound, else that which leaves the fewest cautions. Too late for the deadline:
    the first on which it passes at all.
    """
    best: Turn | None = None
    lightest: Turn | None = None
    for turn in followed:
        in_time = deadline.meets(turn)
        if best is not None and not in_time:
            break
        if deadline.is_sound(turn.verdict):
            return Day(turn, True)
        if lightest is None or _load(turn) < _load(lightest):
            lightest = turn
        if as_it_is.allows(turn) and (best is None or _load(turn) < _load(best)):
            best = turn
    assert lightest is not None  # there is always the turn of now
    return Day(best or lightest, best is not None)


def _load(turn: Turn) -> tuple[int, int]:
    """How heavy a verdict is, and how many findings are more than a note."""
    return WEIGHT[turn.verdict.verdict], len(stays(turn.verdict))
