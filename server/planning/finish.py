"""From when a picture may be varnished, framed, wrapped, stacked and sent, as far as drying and customary waits go."""

from dataclasses import dataclass

from server.science.soundness import DEFAULT, Situation, Thresholds
from server.science.soundness.facts import read_facts
from server.science.soundness.rules.finish import first_day_d


@dataclass(frozen=True, slots=True)
class FirstDay:
    """Ages of the last layer in days: one time in ten by ``low_d``, nine times in ten by ``high_d``."""

    low_d: float
    central_d: float
    high_d: float


def first_day(situation: Situation, limits: Thresholds = DEFAULT) -> FirstDay | None:
    """From when what is to be done (``situation.action``) may be tried.

    The later of the model's stage and the rule's own wait, read at p10, p50 and p90 of every film that is there. None
    where no day would do (oil as the last thing on a picture), and on bare ground. Sources: the rules R35 and R36.
    """
    facts = read_facts(situation, limits)
    if facts.top is None:
        return None
    found = [first_day_d(facts, limits, percentile) for percentile in ("p10_d", "p50_d", "p90_d")]
    known = [day for day in found if day is not None]
    return FirstDay(*known) if len(known) == len(found) else None
