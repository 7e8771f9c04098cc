"""Slow change of a whole studio: a new heater, another season, another hand. A random walk of its level, in ramps.

Between knots a quarter of a year apart the level goes straight from one value to the next; each step is an effect of
its own with a small prior, so that without drift next to nothing is lost and with it dates follow. Steps are columns
like any other: a layer has the whole of every step before it, and the begun part of the one it stands in.
"""

from datetime import datetime, timedelta

import numpy as np

Effects = tuple[tuple[str, float], ...]

QUARTER_D = 365.25 / 4
MOST_STEPS = 40
KIND = "drift:"
LOOK_BACK_D = 91.0


def drift_effects(first_at: datetime, last_at: datetime, at: datetime) -> Effects:
    """The steps that a layer painted at ``at`` has behind it, where layers were painted from ``first_at`` to
    ``last_at``. None within the first quarter: one level then says it all."""
    span_d = (last_at - first_at) / timedelta(days=1)
    count = min(int(np.ceil(span_d / QUARTER_D)), MOST_STEPS)
    if count < 2:
        return ()
    step_d = max(QUARTER_D, span_d / count)
    behind = (at - first_at) / timedelta(days=1) / step_d
    weights = ((number, min(max(behind - number, 0.0), 1.0)) for number in range(count))
    return tuple((f"{KIND}{number:02d}", round(weight, 3)) for number, weight in weights if weight > 0.0)
