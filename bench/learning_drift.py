"""How well learning follows a studio that changes: layers painted one after the other through a year."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone

import numpy as np

from bench.learning_held import Held, met
from bench.learning_studios import make
from bench.timing import row
from server.science.learning import Ask, Press, learn
from server.science.learning.drift import drift_effects

EVERY = 6  # layers, of which one is foretold


def drifting(studios: int = 60, count: int = 120) -> None:
    """Each layer is foretold by what was pressed before it went on; the second half of the year counts."""
    print("A studio that slowly dries 30 % slower within a year")
    for slope, name in ((float(np.log(1.3)), "30 % in a year"), (0.0, "no drift")):
        for follows in (False, True):
            held = Held()
            for seed in range(studios):
                through_a_year(held, (seed, count), slope, follows)
            note = f"median error {np.median(held.errors):.3f}"
            note += f"  {met(held.covers(80) >= 74, '74 %')}" if follows else ""
            told = "followed" if follows else "taken as fixed"
            row(f"{name}, the level {told}: within 80 % ranges", f"{held.covers(80):.1f} %", note)


def through_a_year(held: Held, of: tuple[int, int], slope: float, follows: bool) -> None:
    """One studio: ``of`` its seed and its layers; ``slope`` of the logarithm in a year."""
    seed, count = of
    studio, start = make(seed, count), datetime(2031, 1, 1, tzinfo=timezone.utc)
    days = np.sort(studio.rng.uniform(0, 365, count))
    later = slope * days / 365
    layers = [
        replace(layer, presses=tuple(Press(p.day * float(np.exp(by)), p.felt) for p in layer.presses))
        for layer, by in zip(studio.layers, later, strict=True)
    ]
    for ahead in range(count // 2, count, EVERY):
        at = [start + timedelta(days=float(day)) for day in days[:ahead]]
        seen, coming = layers[:ahead], replace(layers[ahead], presses=())
        if follows:
            span = at[0], at[-1]
            seen = [
                replace(layer, effects=(*layer.effects, *drift_effects(*span, when)))
                for layer, when in zip(seen, at, strict=True)
            ]
            coming = replace(coming, effects=(*coming.effects, *drift_effects(*span, span[1])))
        found = learn(seen, Ask()).predict(coming)
        moment = float(studio.log_dry[ahead] + later[ahead])
        held.add((found.log_quantile(0.5), found.log_quantile), moment, float(np.log(coming.book_d)))
