"""A layer's recipe with one thing in it changed, as it is tried out."""

from dataclasses import replace

from server.science.recipe import Addition, AdditionKind, LayerRecipe, MixRecipe, Paint, PigmentShare


def changed(recipe: LayerRecipe, place: int, mix: MixRecipe) -> LayerRecipe:
    return replace(recipe, mixes=(*recipe.mixes[:place], mix, *recipe.mixes[place + 1 :]))


def _parts(mix: MixRecipe) -> float:
    return sum(paint.parts for paint in mix.paints) + sum(addition.parts for addition in mix.additions)


def _in_it(mix: MixRecipe, pct: float) -> float:
    """Parts of what is to be ``pct`` of the mix once it is in."""
    return _parts(mix) * pct / (100.0 - pct)


def with_medium(mix: MixRecipe, medium: str, pct: float) -> MixRecipe:
    """The mix with so many per cent of a medium in it: ``alkyd`` gel, or an oil by its name."""
    parts = _in_it(mix, pct)
    if medium == "alkyd":
        added = Addition(AdditionKind.ALKYD_MEDIUM, parts, non_volatile=0.5)
    else:
        added = Addition(AdditionKind.OIL, parts, oil=medium)
    return replace(mix, additions=(*mix.additions, added))


def with_pigment(mix: MixRecipe, key: str, pct: float) -> MixRecipe:
    """The mix with so many per cent of a tube of that pigment, ground in linseed, in it."""
    ci_name, _, variant = key.partition("/")
    tube = Paint(_in_it(mix, pct), "linseed", (PigmentShare(ci_name, variant or None),))
    return replace(mix, paints=(*mix.paints, tube))


def with_thinner(mix: MixRecipe, pct: float) -> MixRecipe:
    """The mix with ``pct`` of its volume thinner, instead of what thinner it has; what mediums bring stays."""
    bare = tuple(addition for addition in mix.additions if addition.kind is not AdditionKind.SOLVENT)
    plain = replace(mix, additions=bare)
    if pct <= 0:
        return plain
    solvent = next((a.solvent for a in mix.additions if a.kind is AdditionKind.SOLVENT), "odourless_mineral_spirits")
    return replace(plain, additions=(*bare, Addition(AdditionKind.SOLVENT, _in_it(plain, pct), solvent=solvent)))
