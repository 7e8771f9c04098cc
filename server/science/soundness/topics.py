"""What a question is about: read off once, so that rules about what is not there need not be asked."""

from functools import lru_cache

from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.pigments import NEVER_HARDENING, ZINC_OXIDE, slow
from server.science.soundness.rule import Topic
from server.science.soundness.types import GroundFacts, Material

SLOW_OILS = frozenset({"poppy", "safflower", "walnut"})
SLICK = frozenset({"sealed", "gloss"})
NOTHING: frozenset[Topic] = frozenset()
OF_MATERIAL = {
    Material.ALKYD: Topic.ALKYD,
    Material.ACRYLIC: Topic.ACRYLIC,
    Material.RETOUCH_VARNISH: Topic.VARNISH,
    Material.OLD_PAINTING: Topic.FINISHED,
}


def topics_of(facts: Facts) -> frozenset[Topic]:
    """Everything that some layer, the ground or the support brings up."""
    situation = facts.situation
    found = set(_of_ground(situation.ground))
    if facts.stretched:
        found.add(Topic.STRETCHED)
    if situation.finished:
        found.add(Topic.FINISHED)
    for layer in facts.layers:
        _add_layer(found, layer)
    if facts.upper is not None:
        _add_layer(found, facts.upper)
    return frozenset(found)


def _add_layer(found: set[Topic], layer: LayerFacts) -> None:
    material = OF_MATERIAL.get(layer.material)
    if material is not None:
        found.add(material)
    if layer.alkyd_share:
        found.add(Topic.ALKYD)
    if layer.drier:
        found.add(Topic.DRIER)
    for mix in layer.mixes:
        for key in mix.pigments:
            found |= _of_pigment(key)
        if not SLOW_OILS.isdisjoint(mix.oils):
            found.add(Topic.SLOW_OIL)
        if mix.wax:
            found.add(Topic.WAX)
        if mix.resin:
            found.add(Topic.RESIN)
        if mix.clove_drops:
            found.add(Topic.CLOVE)


@lru_cache(maxsize=1024)
def _of_pigment(key: str) -> frozenset[Topic]:
    found = set()
    if key in ZINC_OXIDE:
        found.add(Topic.ZINC)
    if key in NEVER_HARDENING:
        found.add(Topic.BITUMEN)
    if key in slow():
        found.add(Topic.SLOW_PIGMENT)
    return frozenset(found)


@lru_cache(maxsize=1024)
def _of_ground(ground: GroundFacts) -> frozenset[Topic]:
    found = {topic for name in ground.pigments for topic in _of_pigment(name)}
    if ground.kind == "acrylic":
        found.add(Topic.ACRYLIC)
    if ground.kind == "oil":
        found.add(Topic.OIL_GROUND)
    if ground.surface == "absorbent":
        found.add(Topic.ABSORBENT)
    if ground.surface in SLICK:
        found.add(Topic.SLICK)
    return frozenset(found)
