"""The rule book: every rule with its reason, its support and the limits it looks at, for people to read."""

from dataclasses import dataclass

from sqlmodel import Session

from server.formats.drawings_faults import FaultDrawing, fault_drawing
from server.science.soundness import FAMILIES, RULES, SOURCES, Rule, Source
from server.services import rule_limits
from server.services.access import Actor
from server.services.rule_limits import RULE_IDS, Limit


@dataclass(frozen=True, slots=True)
class RuleInList:
    """A rule as the list shows it; ``line`` is the first sentence of its reason, ``edited`` how many of its limits the
    studio set itself."""

    rule: Rule
    line: str
    edited: int


@dataclass(frozen=True, slots=True)
class FamilyInList:
    title: str
    rules: tuple[RuleInList, ...]


@dataclass(frozen=True, slots=True)
class RuleTold:
    """One rule of a page: a number may stand for two, such as the final and the temporary varnish."""

    rule: Rule
    sources: tuple[Source, ...]
    drawing: FaultDrawing


@dataclass(frozen=True, slots=True)
class RulePage:
    """A rule's page. ``version`` is that of its limits; ``before`` and ``after``: its neighbours' ids, or ""."""

    id: str
    title: str
    rules: tuple[RuleTold, ...]
    limits: tuple[Limit, ...]
    version: int
    before: str
    after: str


def families(session: Session, actor: Actor) -> tuple[FamilyInList, ...]:
    """All rules by family, in one query."""
    limits = rule_limits.all_limits(session, actor)
    edited = {rule_id: sum(rule_id in limit.rules for limit in limits if limit.is_edited) for rule_id in RULE_IDS}
    return tuple(
        FamilyInList(
            family.title, tuple(RuleInList(rule, _first_sentence(rule.why), edited[rule.id]) for rule in family.rules)
        )
        for family in FAMILIES
    )


def rule_page(session: Session, actor: Actor, rule_id: str) -> RulePage:
    """The page of a rule. Raises ``NotFound``."""
    limits, version = rule_limits.of_rule(session, actor, rule_id)
    told = tuple(
        RuleTold(rule, tuple(SOURCES[key] for key in rule.sources), fault_drawing(rule.fault))
        for rule in RULES
        if rule.id == rule_id
    )
    place = RULE_IDS.index(rule_id)
    return RulePage(
        id=rule_id,
        title=" / ".join(each.rule.title for each in told),
        rules=told,
        limits=limits,
        version=version,
        before=RULE_IDS[place - 1] if place else "",
        after=RULE_IDS[place + 1] if place + 1 < len(RULE_IDS) else "",
    )


def _first_sentence(text: str) -> str:
    return text.split(". ", maxsplit=1)[0].rstrip(".") + "."
