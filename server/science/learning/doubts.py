"""Which tests are more likely wrong than right: a wrong word, a wrong day, another panel.

A test that is wrong says one of the other three words, each as likely: with p of equation (1) of ``likelihood``,

    P(felt | x) = (1 - rate) p + rate (1 - p)/3                                                  (3)

which with lapses of 4/3 of the rate is the very likelihood that dates are learned by. There the share of lapses stays
as it is set, since dates hardly depend on it and freeing it is no cure (Wichmann & Hill 2001; Prins 2012). But whether
one test is more likely wrong than right does depend on how often this painter's are: that is learned here, from the
tests themselves, beginning with what is set as if fifty tests had told it.
"""

from dataclasses import dataclass

import numpy as np

from server.science.learning.likelihood import Cases, press_shares
from server.science.learning.sites import tilted
from server.science.learning.types import Settings

TOLD_BEFOREHAND = 50.0  # tests: so many of the studio's own weigh as much as what is set. A choice of ours.
SETTLED, MOST_ROUNDS = 1e-5, 200


@dataclass(frozen=True, slots=True)
class Doubts:
    """Layers with their tests as equation (3) needs them.

    ``sober`` (tests, grid) holds p; ``of_layer`` names the layer of each test; ``mean`` and ``variance`` (layers) tell
    where x is without the layer's own tests.
    """

    grid: np.ndarray
    sober: np.ndarray
    of_layer: np.ndarray
    mean: np.ndarray
    variance: np.ndarray

    @classmethod
    def of(cls, found: Cases, settings: Settings, grid: np.ndarray, at: tuple[np.ndarray, np.ndarray]) -> "Doubts":
        """The tests of some cases; ``at``: mean and variance of every layer's x."""
        return cls(grid, np.maximum(press_shares(found, settings, grid), 0.0), found.press_of, *at)

    def chances(self, rate: float) -> np.ndarray:
        """The chance of every test that it is wrong, where so many are."""
        wrong = rate * (1 - self.sober) / 3
        either = (1 - rate) * self.sober + wrong
        table = np.zeros((len(self.mean), len(self.grid)))
        np.add.at(table, self.of_layer, np.log(either))
        weights, _ = tilted(self.grid, table, self.mean, self.variance)
        return ((wrong / either) * weights[self.of_layer]).sum(axis=1)


def learned_rate(tests: Doubts, beforehand: float) -> float:
    """The share of tests that are wrong: expectation and maximization by turns, from what is set ``beforehand``."""
    count, rate = len(tests.of_layer), beforehand
    if not 0.0 < beforehand < 1.0 or not count:
        return beforehand
    for _ in range(MOST_ROUNDS):
        found = (TOLD_BEFOREHAND * beforehand + float(tests.chances(rate).sum())) / (TOLD_BEFOREHAND + count)
        if abs(found - rate) < SETTLED:
            break
        rate = found
    return rate
