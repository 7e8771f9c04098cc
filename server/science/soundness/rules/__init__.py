"""The rules, in the order of their numbers. A new file of rules is one more line here."""

from types import ModuleType

from server.science.soundness.rule import Rule
from server.science.soundness.rules import (
    additive,
    between,
    couch,
    fat,
    finish,
    ground,
    slow,
    speed,
    thick,
    thinner,
    touch,
    water,
    zinc,
)

FAMILIES: tuple[ModuleType, ...] = (
    additive,
    between,
    couch,
    fat,
    finish,
    ground,
    slow,
    speed,
    thick,
    thinner,
    touch,
    water,
    zinc,
)


def _collect() -> tuple[Rule, ...]:
    found = [item for family in FAMILIES for item in vars(family).values() if isinstance(item, Rule)]
    return tuple(sorted(found, key=lambda item: item.id))


RULES = _collect()
