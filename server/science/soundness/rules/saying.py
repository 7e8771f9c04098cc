"""Phrases that several rules share."""

from server.science.results import Stage
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.mixes import MixFacts
from server.science.soundness.words import days

DRY_WORDS = {
    Stage.SET_TO_TOUCH: "set to the touch",
    Stage.DRY_TO_TOUCH: "dry to the touch",
    Stage.DRY_TO_RECOAT: "ready for the next layer",
    Stage.DRY_THROUGH: "dry through",
}


def naming(layer: LayerFacts, facts: Facts) -> str:
    """What to call a layer of the stack."""
    if layer is facts.lower:
        return "the layer below"
    if layer in facts.touched:
        return f"layer {layer.place + 1}, which is bare in places,"
    return f"layer {layer.place + 1}, further down,"


def when(layer: LayerFacts, stage: Stage) -> str:
    """When a layer reaches a stage, with its range: ages of that layer."""
    middle, late = days(layer.time(stage)), days(layer.time(stage, "p90_d"))
    word = DRY_WORDS[stage]
    if middle == late:
        return f"It should be {word} at an age of about {middle}."
    return f"It is as likely as not {word} by an age of {middle}, nine times in ten by {late}."


def in_mix(mix: MixFacts, layer: LayerFacts) -> str:
    """Names the mix where the layer has several."""
    return f" in “{mix.name}”" if len(layer.mixes) > 1 and mix.name else ""
