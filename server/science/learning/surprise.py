"""How likely a press was before it was made: whether it is worth asking about."""

import numpy as np

from server.science.learning.normal import share
from server.science.learning.posterior import Prediction
from server.science.learning.types import Felt


def felt_chances(found: Prediction, sigma_o: float, day: float) -> np.ndarray:
    """The chance of each of the four words of a press at an effective day, wet first. They sum to 1.

    ``sigma_o``: sd of a finger's reading on the logarithm of time. Wrong words and days are left out.
    """
    mass = np.diff(found.below, prepend=0.0)
    mass = mass / mass.sum()
    ahead = np.log(max(day, 1e-9)) - found.log_days
    cuts = ((found.tacky, found.tacky_sd), (0.0, 0.0), (found.firm, found.firm_sd))
    reached = [float(mass @ share((ahead - cut) / np.hypot(sigma_o, sd))) for cut, sd in cuts]
    ordered = np.minimum.accumulate([1.0, *reached, 0.0])
    return -np.diff(ordered)


def this_or_more_extreme(chances: np.ndarray, felt: Felt) -> float:
    """The chance of this word or one further out, on the side on which it is rarer."""
    return float(min(chances[: felt + 1].sum(), chances[felt:].sum()))
