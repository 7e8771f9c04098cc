"""Where a studio's promises were off by more than chance, new ones are put right; those that were made stay.

What is corrected is always the promise as learning alone would have made it: that is kept beside the one that was
told, so that a correction is not corrected again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp
from typing import Any

from server.science.learning import Evidence, Offsets, Press, Settings
from server.science.learning.scoring import FEWEST, Promise, calibrate

MOST_DELTA, LEAST_KAPPA, MOST_KAPPA = 1.5, 0.6, 1.6  # no few tests move dates further than that


@dataclass(frozen=True, slots=True)
class Correction:
    """New dates are put later by ``delta`` of their sds and spread ``kappa`` times as wide; found from ``layers``.

    ``later``: what that comes to for a usual range, in logarithms.
    """

    delta: float
    kappa: float
    later: float
    layers: int

    def of(self, log_mean: float, log_sd: float) -> tuple[float, float]:
        """Mean and sd of a promise put right."""
        return log_mean + self.delta * log_sd, self.kappa * log_sd


def correction_of(promises: Sequence[Promise], settings: Settings) -> Correction | None:
    """The correction that the tests call for; None while there are too few, or they tell nothing from chance."""
    if len(promises) < FEWEST:
        return None
    found = calibrate(promises, settings)
    if not found.is_off:
        return None
    delta = min(max(found.delta, -MOST_DELTA), MOST_DELTA)
    usual = sum(promise.log_sd for promise in promises) / len(promises)
    kappa = min(max(found.kappa, LEAST_KAPPA), MOST_KAPPA)
    return Correction(round(delta, 4), round(kappa, 4), round(delta * usual, 4), len(promises))


def raw_promise(told: Mapping[str, Any], presses: tuple[Press, ...]) -> Promise:
    """What learning alone promised of a layer, from what was kept with it, and what was pressed since."""
    offsets = Offsets(told["offsets"]["tacky"], told["offsets"]["firm"])
    mean, sd = told.get("raw_log_mean", told["log_mean"]), told.get("raw_log_sd", told["log_sd"])
    return Promise(mean, sd, Evidence(told["book_touch_dry_d"], (), presses, offsets=offsets))


def told_promise(log_mean: float, log_sd: float, correction: Correction | None) -> dict[str, Any]:
    """Mean and sd as they are kept with a layer: as told, and as learning alone had them where that differs."""
    if correction is None:
        return {"log_mean": round(log_mean, 6), "log_sd": round(log_sd, 6)}
    mean, sd = correction.of(log_mean, log_sd)
    raw = {"raw_log_mean": round(log_mean, 6), "raw_log_sd": round(log_sd, 6)}
    return {"log_mean": round(mean, 6), "log_sd": round(sd, 6), **raw}


def percent_later(correction: Correction) -> int:
    """By how many per cent a usual date is put later; negative for sooner."""
    return round(100 * (exp(correction.later) - 1))
