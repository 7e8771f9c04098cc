"""Learning from touch tests: dates that get better with every press, and know how good they are.

Layer ``i`` becomes dry to the touch at ``u_i = m_i + x_i'beta + eps_i`` in the logarithm of effective days: what the
book says of it, plus the effects of studio, place, pigments and mediums by their weights, plus noise of its own. A
press reads a stage of that clock with a finger's noise. ``likelihood`` tabulates the presses, ``propagation`` finds the
effects, ``scales`` the sizes of effects and noise, ``posterior`` tells what follows for layers, ``phrase`` and
``scoring`` how to say it and how good it was. Pure: numpy only, the same answer for the same tests.
"""

from server.science.learning.posterior import Ask, Effect, Learned, Pair, Prediction, learn
from server.science.learning.scales import Scales
from server.science.learning.types import STANDARD, Evidence, Felt, Offsets, Press, Priors, Settings

__all__ = [
    "STANDARD",
    "Ask",
    "Effect",
    "Evidence",
    "Felt",
    "Learned",
    "Offsets",
    "Pair",
    "Prediction",
    "Press",
    "Priors",
    "Scales",
    "Settings",
    "learn",
]
