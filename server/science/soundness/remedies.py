"""Remedies: put into words, and carried out on a situation to see what they do."""

import math
from dataclasses import replace

from server.science.recipe import Addition, AdditionKind, MixRecipe
from server.science.soundness.facts import Facts
from server.science.soundness.mixes import oil_parts
from server.science.soundness.rule import PAINTING, Draft
from server.science.soundness.thresholds import DEFAULT, Thresholds
from server.science.soundness.types import MixChange, Remedy, Situation
from server.science.soundness.words import amount, capital, days

LINSEED = "linseed"


def worded(draft: Draft, facts: Facts, limits: Thresholds, broken: tuple[str, ...]) -> Remedy | None:
    """The remedy of a draft. ``broken`` are the rules its change of the mix would break: then it is not offered."""
    changes, coats = ((), None) if broken else (draft.by_mix, draft.coats)
    ways = [*_mix_words(changes, facts, limits)]
    if coats:
        ways.append(f"split it into {coats} coats, each touch-dry before the next")
    if draft.not_before_d is not None:
        ways.append(f"wait until {_what_ages(facts)} is {days(draft.not_before_d)} old")
    text = ", or ".join(ways)
    sentences = [capital(text) + "."] if text else []
    if broken:
        sentences.insert(0, f"{_what(draft.by_mix)} would break {' and '.join(broken)}, so it is no way out here.")
    if draft.advice:
        sentences.append(draft.advice if ways else capital(draft.advice.removeprefix("Or ")))
    if not sentences:
        return None
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
        by_mix=changes,
    )


def drops(volume_ml: float, drops_per_ml: float) -> int:
    """Whole drops that hold at least this much."""
    return math.ceil(volume_ml * drops_per_ml - 1e-6)


def with_changes(situation: Situation, changes: tuple[MixChange, ...], coats: int | None = None) -> Situation:
    """The situation with the new layer's mixes changed, or with the first of so many coats of it.

    Nothing else moves, the drying times included.
    """
    if situation.upper is None or not (changes or coats):
        return situation
    recipe = situation.upper.recipe
    if coats:
        recipe = replace(recipe, wet_thickness_um=recipe.wet_thickness_um / coats)
    mixes = list(recipe.mixes)
    for change in changes:
        mixes[change.index] = changed_mix(mixes[change.index], change, situation.paint_ml)
    upper = replace(situation.upper, recipe=replace(recipe, mixes=tuple(mixes)))
    return replace(situation, upper=upper)


def with_remedy(situation: Situation, remedy: Remedy) -> Situation:
    """The situation after the painter did what the remedy says about the mix, the coats and the couch."""
    changed = with_changes(situation, remedy.by_mix, remedy.coats)
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


def changed_mix(mix: MixRecipe, change: MixChange, paint_ml: float) -> MixRecipe:
    """A mix with oil or tube paint added or solvent left out, in its own parts."""
    parts_per_ml = _paint_parts(mix) / paint_ml
    additions, paints = list(mix.additions), list(mix.paints)
    if change.add_oil_ml > 0.0:
        oil = prevailing_oil(mix)
        additions.append(Addition(AdditionKind.OIL, parts=change.add_oil_ml * parts_per_ml, oil=oil))
    if change.reduce_solvent_ml > 0.0:
        free = sum(item.parts for item in additions if item.kind is AdditionKind.SOLVENT)
        kept = max(0.0, 1.0 - change.reduce_solvent_ml * parts_per_ml / free)
        additions = [
            replace(item, parts=item.parts * kept) if item.kind is AdditionKind.SOLVENT else item for item in additions
        ]
    if change.add_paint_ml > 0.0:
        whole = sum(item.parts for item in paints)
        grown = 1.0 + change.add_paint_ml * parts_per_ml / whole
        paints = [replace(item, parts=item.parts * grown) for item in paints]
    return replace(mix, paints=tuple(paints), additions=tuple(item for item in additions if _is_there(item)))


def prevailing_oil(mix: MixRecipe) -> str:
    """The oil there is most of in a mix, tube oil counted; linseed where there is none."""
    parts = oil_parts(mix, DEFAULT.base_binder_fraction)
    return max(parts, key=lambda name: parts[name], default=LINSEED)


def _is_there(item: Addition) -> bool:
    return item.kind is not AdditionKind.SOLVENT or item.parts > 0.0


def _paint_parts(mix: MixRecipe) -> float:
    paint = sum(item.parts for item in mix.paints)
    return paint if paint > 0.0 else sum(item.parts for item in mix.additions)


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


def _mix_words(changes: tuple[MixChange, ...], facts: Facts, limits: Thresholds) -> list[str]:
    """One phrase for all changes of the mix: they belong together."""
    if not changes:
        return []
    per = f"per {amount(facts.situation.paint_ml)} ml of paint"
    named = len(facts.upper.mixes) > 1 if facts.upper else False
    phrases = []
    for change in changes:
        parts = []
        if change.add_oil_ml > 0.0:
            grams = amount(change.add_oil_ml * limits.remedy_oil_density_g_ml)
            count = drops(change.add_oil_ml, facts.situation.drops_per_ml)
            parts.append(
                f"add {amount(change.add_oil_ml)} ml of oil ({grams} g, about {count} drop{'s' if count != 1 else ''})"
            )
        if change.reduce_solvent_ml > 0.0:
            parts.append(f"leave out {amount(change.reduce_solvent_ml)} ml of solvent")
        if change.add_paint_ml > 0.0:
            parts.append(f"add {amount(change.add_paint_ml)} ml of tube paint")
        where = f" in “{change.mix}”" if named and change.mix else ""
        phrases.append(f"{' and '.join(parts)} {per}{where}")
    return ["; ".join(phrases)]
