"""Why a layer takes as long as it does, and why it would take longer or less: in words and as factors."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from server.science import reference
from server.science.breakdown import Factor, RegionBreakdown
from server.science.recipe import LayerRecipe, MixRecipe

OF_A_MIX = frozenset({"oil", "pigment", "additions"})  # what differs from mix to mix; the rest is the layer's
SLOWS = 1.05  # a factor that is worth a word
MOST_REASONS = 3


@dataclass(frozen=True, slots=True)
class Reason:
    """A part of the time that changes: ``name`` as in the breakdown, ``times`` the time it makes against before."""

    name: str
    times: float


def holder_of(parts: Sequence[RegionBreakdown]) -> int:
    """The mix that all wait for, by its place."""
    return max(range(len(parts)), key=lambda place: parts[place].touch_d)


def culprit_of(recipe: LayerRecipe, parts: Sequence[RegionBreakdown]) -> str:
    """What slows a layer most, in words."""
    holder = holder_of(parts)
    heaviest = _heaviest(parts, holder)
    words = {
        "oil": "the slow oil",
        "thickness": "its thickness",
        "room": "the room",
        "additions": "the wax or clove oil",
    }
    told = words.get(heaviest.name, "the paint itself")
    if heaviest.name == "pigment":
        told = _slowest_pigment(recipe.mixes[holder])
    if len(parts) > 1 and heaviest.name in OF_A_MIX:
        return f"{told} in “{recipe.mixes[holder].name}”"
    return told


def reasons(before: Sequence[RegionBreakdown], after: Sequence[RegionBreakdown]) -> tuple[Reason, ...]:
    """What makes the mix that all wait for then slower or faster than it is, the weightiest first."""
    holder = holder_of(after)
    was, becomes = ({f.name: f.factor for f in parts[holder].factors} for parts in (before, after))
    found = [Reason(name, becomes.get(name, 1.0) / was.get(name, 1.0)) for name in {**was, **becomes}]
    told = [reason for reason in found if reason.times > 0.0 and abs(log(reason.times)) > log(SLOWS)]
    return tuple(sorted(told, key=lambda reason: -abs(log(reason.times)))[:MOST_REASONS])


def _heaviest(parts: Sequence[RegionBreakdown], holder: int) -> Factor:
    own = [factor for factor in parts[holder].factors if factor.name in OF_A_MIX]
    heaviest = max(own, key=lambda factor: factor.factor)
    if heaviest.factor < SLOWS or (len(parts) == 1 and heaviest.factor < parts[0].weightiest.factor):
        return parts[holder].weightiest
    return heaviest


def _slowest_pigment(mix: MixRecipe) -> str:
    weights: dict[str, float] = {}
    for paint in mix.paints:
        for pigment in paint.pigments:
            row = reference.find_pigment(pigment.ci_name, pigment.variant)
            weights[row.label] = weights.get(row.label, 0.0) + paint.parts * pigment.share * (row.touch_multiplier - 1)
    return f"the {max(weights, key=weights.__getitem__)}" if weights else "the paint itself"
