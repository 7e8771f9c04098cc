"""What lies below the next layer of a chain, and what the rules ask of that layer over it.

The rules are asked for the soonest they can let the layer pass: at the age at which the one below counts as touch-dry
for them, and not before a day that is fixed. That it dries later or sooner than that is drawn by the chain itself.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from server.planning.outlook import Days
from server.science.results import FilmState, Stage
from server.science.soundness.types import Finding, Severity
from server.science.stages import HARDNESS
from server.services.board.facts import Moment
from server.services.board.films import LayerOn
from server.services.board.rule_waits import found_in
from server.services.board.spans import instant, local_day
from server.services.verdicts import LONGEST_D, SECONDS_PER_DAY, VERDICTS, Coming, LaidLayer, Question

TOUCH_GATE = "R03"  # the rule that stops a layer over a film that is not dry to the touch
DRY = HARDNESS[FilmState.TOUCH_DRY]
MOST_TURNS = 6
JUST_AFTER = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class Below:
    """The stack as it lies, or will lie in the middle draw.

    ``since``: when its top layer went on, or the ground was laid; None where nobody said. ``since_d``: the same in days
    from the start of the day looked at, by draws. ``soft_d``: its age when the rules count it as touch-dry.
    ``takes_wet``: paint can go into it while it is wet.
    """

    over: Question
    since: datetime | None
    since_d: Days | float = 0.0
    soft_d: float = 0.0
    takes_wet: bool = False

    def stops(self, upper: Coming, not_before: datetime, zone: ZoneInfo) -> list[Finding]:
        """What stops a layer the soonest it may go on, from ``not_before``; but for the film below being soft."""
        question = replace(self.over, coming=upper)
        into_wet = self.goes_into_wet(upper)
        at = not_before if self.since is None else max(not_before, self._passes_at(self.since, into_wet))
        others: list[Finding] = []
        for _ in range(MOST_TURNS):
            at += JUST_AFTER
            verdict = VERDICTS.stop(question, at, local_day(at, zone))
            if verdict is None:
                return []
            stops = found_in(verdict, Severity.STOP)
            others = [finding for finding in stops if finding.rule != TOUCH_GATE]
            if into_wet or len(others) == len(stops) or verdict.unchanged_for_d > LONGEST_D:
                break
            at += timedelta(days=verdict.unchanged_for_d)
        return others

    def _passes_at(self, since: datetime, into_wet: bool) -> datetime:
        return since if into_wet else instant(since, self.soft_d)

    def goes_into_wet(self, upper: Coming) -> bool:
        """Whether the layer belongs to the same sitting as the one below: it waits for nothing."""
        return self.takes_wet and upper.same_session

    def under(self, layer: LaidLayer, since_d: Days, soft_d: float) -> "Below":
        """The stack once that layer lies on it."""
        over = replace(self.over, stack=(*self.over.stack, layer))
        return Below(over, layer.painted_at, since_d, soft_d, takes_wet=bool(layer.stages))


def what_lies(over: Question, top: LayerOn | None, since: datetime | None, moment: Moment) -> Below:
    """What lies there already, ``since`` when."""
    since_d = 0.0 if since is None else (since - moment.day_start).total_seconds() / SECONDS_PER_DAY
    if top is None:
        return Below(over, since, since_d)
    found_dry = top.laid.observed is not None and HARDNESS[top.laid.observed] >= DRY
    touch = None if found_dry else top.film.stages.get(Stage.DRY_TO_TOUCH)
    return Below(over, since, since_d, 0.0 if touch is None else touch.p90_d)
