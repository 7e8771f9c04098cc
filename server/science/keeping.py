"""How long a colour mixed but not painted stays workable: a rule of thumb and a guess, and told as such.

No kinetics of paint kept on a palette are published. Oxidation about doubles with every 10 K, an order of magnitude
that a fire-investigation article gives; driers and alkyds break even that. So the early side of set-to-touch (p10, of
a film as it is painted) is stretched by a guessed factor for each place, and capped.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from server.science.recipe import AdditionKind, MixRecipe
from server.science.reference import value
from server.science.results import Stage, StageRange

LITTLE_GAIN = (AdditionKind.ALKYD_MEDIUM, AdditionKind.DRIER)


class KeptIn(StrEnum):
    """Where a mix waits."""

    __hash__ = str.__hash__

    PALETTE = "palette"
    COVERED = "covered"
    SEALED = "sealed"
    REFRIGERATOR = "refrigerator"
    FREEZER = "freezer"


@dataclass(frozen=True, slots=True)
class Keeps:
    """``use_by_d``: days after mixing up to which it is worth a test. ``gains_little``: cover and cold hardly help."""

    kept_in: KeptIn
    use_by_d: float
    gains_little: bool

    def is_likely_past(self, age_d: float) -> bool:
        """Whether a mix of that age, in days, has likely begun to set."""
        return age_d > self.use_by_d


def gains_little(mix: MixRecipe) -> bool:
    """Whether the mix sets by more than slow oxidation: an alkyd or a drier is in it. Common practice, no source."""
    return any(addition.kind in LITTLE_GAIN for addition in mix.additions)


def keeps(mix: MixRecipe, stages: Mapping[Stage, StageRange]) -> tuple[Keeps, ...]:
    """Where a mix may wait, from the open palette to the freezer. ``stages`` are those of a layer of the mix."""
    little = gains_little(mix)
    open_d = stages[Stage.SET_TO_TOUCH].p10_d
    most_d = value("kept_most_d")

    def kept(place: KeptIn) -> Keeps:
        fold = 1.0 if place is KeptIn.PALETTE else value(f"kept_{place}_fold")
        if little:
            fold = min(fold, value("kept_covered_fold"))
        return Keeps(place, min(most_d, open_d * fold), little)

    return tuple(kept(place) for place in KeptIn)
