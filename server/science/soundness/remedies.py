"""Remedies: put into words, and carried out on a situation to see what they do."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.science import reference
from server.science.drying import thickness_factor
from server.science.recipe import Addition, AdditionKind, LayerRecipe, MixRecipe
from server.science.results import Stage
from server.science.soundness.facts import Facts
from server.science.soundness.rule import PAINTING, Draft
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import MixChange, NewLayer, Remedy, Situation, Way
from server.science.soundness.words import amount, capital, days, enough
from server.science.stages import scaled

NO_SHARE = 1e-9
TOUCH_STAGES = (Stage.SET_TO_TOUCH, Stage.DRY_TO_TOUCH)
# What each addition is called where a remedy leaves it out.
LEFT_OUT = {
    AdditionKind.ALKYD_MEDIUM: "the alkyd medium",
    AdditionKind.DRIER: "the drier",
    AdditionKind.WAX: "the wax",
    AdditionKind.SOFT_RESIN: "the soft resin",
    AdditionKind.CLOVE_OIL: "the clove oil",
}


@dataclass(frozen=True, slots=True)
class Tried:
    """The ways of a draft once the rules were asked about each.

    ``offered`` lower the finding and raise no other; ``broken`` are the rules that the plainest way would break.
    """

    offered: tuple[Way, ...] = ()
    broken: tuple[str, ...] = ()


def worded(draft: Draft, facts: Facts, limits: Thresholds, tried: Tried) -> Remedy | None:
    """The remedy of a draft, of which only the ways that stood the trial are offered."""
    changes = next((way.by_mix for way in tried.offered if way.by_mix), ())
    coats = next((way.coats for way in tried.offered if way.coats), None)
    ways = [_way_words(way, facts, limits) for way in tried.offered]
    if draft.not_before_d is not None:
        ways.append(f"wait until {_what_ages(facts)} is {days(draft.not_before_d)} old")
    text = ", or ".join(ways)
    sentences = [capital(text) + "."] if text else []
    if tried.broken:
        what = " and ".join(tried.broken)
        sentences.insert(0, f"{_what(draft.by_mix)} would break {what}, so it is no way out here.")
    if draft.advice:
        sentences.append(draft.advice if ways else capital(draft.advice.removeprefix("Or ")))
    if not sentences:
        return None
    oil = solvent = paint = None
    if changes:
        oil, solvent, paint = (_most(changes, name) for name in ("add_oil_ml", "reduce_solvent_ml", "add_paint_ml"))
    return Remedy(
        text=" ".join(sentences),
        add_oil_ml=oil,
        add_oil_g=None if oil is None else oil * limits.remedy_oil_density_g_ml,
        add_oil_drops=None if oil is None else drops(oil, facts.situation.drops_per_ml),
        reduce_solvent_ml=solvent,
        add_paint_ml=paint,
        max_couch_ml=draft.max_couch_ml,
        coats=coats,
        not_before_d=draft.not_before_d,
        wet_thickness_um=next((way.wet_thickness_um for way in tried.offered if way.wet_thickness_um), None),
        by_mix=changes,
        ways=tried.offered,
    )


def drops(volume_ml: float, drops_per_ml: float) -> int:
    """Whole drops that hold at least this much."""
    return math.ceil(volume_ml * drops_per_ml - 1e-6)


def with_way(situation: Situation, way: Way) -> Situation:
    """The situation with the new layer changed in one of the ways of a remedy, of several coats with the first.

    Nothing else moves but how soon a thinner film is dry to the touch.
    """
    if situation.upper is None:
        return situation
    return replace(situation, upper=changed_new(situation.upper, way))


def changed_new(new: NewLayer, way: Way) -> NewLayer:
    """The new layer changed in one of the ways of a remedy; of its drying times the touch goes with the thickness."""
    recipe = changed_layer(new.recipe, way)
    stages = new.stages
    if recipe.wet_thickness_um != new.recipe.wet_thickness_um:
        exponent = reference.value("thickness_exponent")
        now, then = (thickness_factor(um, exponent) for um in (new.recipe.wet_thickness_um, recipe.wet_thickness_um))
        stages = stages | {stage: scaled(stages[stage], float(then / now)) for stage in TOUCH_STAGES if stage in stages}
    return NewLayer(new.material, stages, recipe, new.same_session)


def changed_layer(recipe: LayerRecipe, way: Way) -> LayerRecipe:
    """The recipe of a layer changed in one of the ways of a remedy; of several coats the first."""
    wet_um = way.wet_thickness_um or recipe.wet_thickness_um
    mixes = list(recipe.mixes)
    for change in way.by_mix:
        mixes[change.index] = changed_mix(mixes[change.index], change)
    return LayerRecipe(wet_um / (way.coats or 1), recipe.ground, tuple(mixes))


def with_remedy(situation: Situation, remedy: Remedy) -> Situation:
    """The situation after the painter did what the remedy says first, and what it says about the couch."""
    changed = with_way(situation, remedy.ways[0]) if remedy.ways else situation
    if remedy.max_couch_ml is not None and changed.couch_ml is not None:
        changed = replace(changed, couch_ml=min(changed.couch_ml, remedy.max_couch_ml))
    return changed


def later(situation: Situation, wait_d: float) -> Situation:
    """The same situation ``wait_d`` days on: everything there is older, the new layer is not yet painted."""
    ground = situation.ground
    if ground.age_d is not None:
        ground = replace(ground, age_d=ground.age_d + wait_d)
    stack = tuple(
        replace(
            layer,
            age_d=layer.age_d + wait_d,
            observed_age_d=layer.age_d if layer.observed and layer.observed_age_d is None else layer.observed_age_d,
        )
        for layer in situation.stack
    )
    return replace(situation, ground=ground, stack=stack)


def at_date(situation: Situation, not_before_d: float) -> Situation:
    """The situation when the layer below (the ground, where there is none) has come to the age of a remedy's date."""
    age_d = situation.stack[-1].age_d if situation.stack else (situation.ground.age_d or 0.0)
    return later(situation, max(0.0, not_before_d - age_d))


def changed_mix(mix: MixRecipe, change: MixChange) -> MixRecipe:
    """A mix with oil or tube paint added, solvent reduced or something left out, in its own parts."""
    parts_per_ml = 1.0 / change.ml_per_part
    additions = [item for item in mix.additions if item.kind not in change.leave_out]
    paints = list(mix.paints)
    if change.reduce_solvent_ml > 0.0:
        free = sum(item.parts for item in additions if item.kind is AdditionKind.SOLVENT)
        kept = max(0.0, 1.0 - change.reduce_solvent_ml * parts_per_ml / free)
        thinned = [
            replace(item, parts=item.parts * kept) if item.kind is AdditionKind.SOLVENT else item for item in additions
        ]
        # What is left of rounding is no solvent.
        additions = [item for item in thinned if item.kind is not AdditionKind.SOLVENT or kept > NO_SHARE]
    if change.add_oil_ml > 0.0:
        additions = _with_oil(additions, change.oil, change.add_oil_ml * parts_per_ml)
    if change.add_paint_ml > 0.0:
        whole = sum(item.parts for item in paints)
        grown = 1.0 + change.add_paint_ml * parts_per_ml / whole
        paints = [replace(item, parts=item.parts * grown) for item in paints]
    return MixRecipe(mix.name, mix.area_share, tuple(paints), tuple(additions))


def _with_oil(additions: Sequence[Addition], oil: str, parts: float) -> list[Addition]:
    """Oil poured to the oil of that name that is there, or added."""
    for place, item in enumerate(additions):
        if item.kind is AdditionKind.OIL and item.oil == oil:
            more = replace(item, parts=item.parts + parts)
            return [*additions[:place], more, *additions[place + 1 :]]
    return [*additions, Addition(AdditionKind.OIL, parts=parts, oil=oil)]


def _most(changes: tuple[MixChange, ...], name: str) -> float | None:
    most = max((float(getattr(change, name)) for change in changes), default=0.0)
    return most if most > 0.0 else None


def _what(changes: tuple[MixChange, ...]) -> str:
    if not changes:
        return "Splitting it into thin coats"
    if _most(changes, "add_oil_ml"):
        return "Adding the oil it lacks"
    return "Adding paint" if _most(changes, "add_paint_ml") else "Leaving out solvent"


def _what_ages(facts: Facts) -> str:
    if facts.top is None:
        return "the ground"
    return "the layer below" if facts.action in PAINTING else "the last layer"


def _way_words(way: Way, facts: Facts, limits: Thresholds) -> str:
    """One way out, as an order to the painter."""
    if way.by_mix:
        return _mix_words(way.by_mix, facts, limits)
    if way.coats:
        return f"split it into {way.coats} coats, each touch-dry before the next"
    wet_um = way.wet_thickness_um or 0.0
    if facts.upper is not None and wet_um > facts.upper.wet_um:
        return f"lay the new paint on at {amount(wet_um)} µm or more"
    return f"wipe the film down to {amount(wet_um)} µm or less"


def _mix_words(changes: tuple[MixChange, ...], facts: Facts, limits: Thresholds) -> str:
    """One phrase for all changes of the mix: they belong together."""
    named = len(facts.upper.mixes) > 1 if facts.upper else False
    phrases = []
    for change in changes:
        where = f" in “{change.mix}”" if named and change.mix else ""
        phrases.append(f"{_change_words(change, facts, limits)}{where}")
    return "; ".join(phrases)


def _change_words(change: MixChange, facts: Facts, limits: Thresholds) -> str:
    parts = []
    if change.leave_out:
        parts.append(f"leave out {' and '.join(LEFT_OUT[kind] for kind in change.leave_out)}")
    if change.add_oil_ml > 0.0:
        grams = amount(change.add_oil_ml * limits.remedy_oil_density_g_ml)
        count = drops(change.add_oil_ml, facts.situation.drops_per_ml)
        parts.append(
            f"add {enough(change.add_oil_ml)} ml of oil ({grams} g, about {count} drop{'s' if count != 1 else ''})"
        )
    if change.reduce_solvent_ml > 0.0:
        parts.append(f"leave out {enough(change.reduce_solvent_ml)} ml of solvent")
    if change.add_paint_ml > 0.0:
        parts.append(f"add {enough(change.add_paint_ml)} ml of tube paint")
    told = " and ".join(parts)
    return told if change.leave_out else f"{told} per {amount(facts.situation.paint_ml)} ml of paint"
