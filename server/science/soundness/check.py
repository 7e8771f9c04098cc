"""One question, one verdict: ask every rule that applies, word the remedies, worst first."""

from dataclasses import replace
from functools import lru_cache

from server.science.results import FilmState
from server.science.soundness.facts import Facts, read_facts, with_upper
from server.science.soundness.remedies import Tried, at_date, changed_new, worded
from server.science.soundness.rule import WEIGHT, Draft, Rule, Topic
from server.science.soundness.rules import RULES
from server.science.soundness.thresholds import DEFAULT, Thresholds
from server.science.soundness.topics import topics_of
from server.science.soundness.types import Action, Finding, Severity, Situation, Verdict, Way

MOST_MOVES = 4
BY_ACTION: dict[tuple[Action, bool], tuple[Rule, ...]] = {
    (action, has_upper): tuple(item for item in RULES if action in item.actions and (has_upper or not item.needs_upper))
    for action in Action
    for has_upper in (False, True)
}


@lru_cache(maxsize=4096)
def asked(action: Action, has_upper: bool, topics: frozenset[Topic], mix_changes: bool = False) -> tuple[Rule, ...]:
    """The rules that may have something to say; with ``mix_changes`` those that a change of the mix may touch."""
    return tuple(
        item
        for item in BY_ACTION[action, has_upper]
        if (item.only_about is None or item.only_about in topics) and (not mix_changes or _mix_matters(item, action))
    )


def _mix_matters(item: Rule, action: Action) -> bool:
    matters = item.mix_matters
    return matters if isinstance(matters, bool) else action in matters


def check(situation: Situation, thresholds: Thresholds = DEFAULT) -> Verdict:
    """Ask the rules about a situation.

    Findings come worst first (`order_of`). A change that does not lower its finding, or that would raise another
    rule's, is not offered; the date is, moved on where it would only lead to another as heavy. States come from the
    ranges of the stages (set-to-touch at p50, the others at p90) or from the painter's own touch test, which wins (see
    ``server.science.stages``).
    """
    facts = read_facts(situation, thresholds)
    topics = topics_of(facts)
    drafts = _ask(asked(situation.action, situation.upper is not None, topics), facts, thresholds)
    drafts = [(item, _moved_on(item, draft, drafts, facts, thresholds)) for item, draft in drafts]
    again = asked(situation.action, True, topics, True)
    before = {(item.id, item.title): WEIGHT[found.severity] for item, found in drafts}
    findings = [
        Finding(
            rule=item.id,
            severity=draft.severity,
            title=item.title,
            reason=draft.reason,
            basis=item.basis,
            source=item.source,
            remedy=worded(draft, facts, thresholds, _tried(item, draft, facts, (before, again, thresholds))),
        )
        for item, draft in drafts
    ]
    findings.sort(key=order_of)
    return Verdict(
        verdict=findings[0].severity if findings else Severity.SOUND,
        state=facts.top.state if facts.top else FilmState.NONE,
        findings=tuple(findings),
        unchanged_for_d=facts.ages.next_d,
    )


def order_of(finding: Finding) -> tuple[int, float]:
    """Where a finding comes among others: the worst first, of stops what no waiting cures, then the one that holds the
    longest: the first stop is the reason that it is stopped. Within these by rule number."""
    return -WEIGHT[finding.severity], -finding.holds_d if finding.severity is Severity.STOP else 0.0


@lru_cache(maxsize=4096)
def _stopping(action: Action, has_upper: bool, topics: frozenset[Topic]) -> tuple[Rule, ...]:
    return tuple(item for item in asked(action, has_upper, topics) if Severity.STOP in item.weighs)


def is_stopped(situation: Situation, thresholds: Thresholds = DEFAULT) -> bool:
    """Whether a rule stops it, as `check` would say: for less, since no way out is looked for."""
    facts = read_facts(situation, thresholds)
    rules = _stopping(situation.action, situation.upper is not None, topics_of(facts))
    drafts = (item.judge(facts, thresholds) for item in rules)
    return any(draft is not None and draft.severity is Severity.STOP for draft in drafts)


def _ask(rules: tuple[Rule, ...], facts: Facts, thresholds: Thresholds) -> list[tuple[Rule, Draft]]:
    answers = []
    for item in rules:
        draft = item.judge(facts, thresholds)
        if draft is not None and draft.severity is not Severity.SOUND:
            answers.append((item, draft))
    return answers


def _moved_on(
    item: Rule, draft: Draft, drafts: list[tuple[Rule, Draft]], facts: Facts, thresholds: Thresholds
) -> Draft:
    """The draft with its date moved to where no finding as heavy as its own comes up anew: a film that may be touched
    at last may still be too young for what is to go on. Nor is its own as heavy there, for another layer's sake."""
    situation = facts.situation
    if not item.opens or draft.not_before_d is None or situation.upper is None:
        return draft
    known = {(each.id, each.title) for each, _ in drafts if each is not item}
    date_d = draft.not_before_d
    for _ in range(MOST_MOVES):
        then = read_facts(at_date(situation, date_d), thresholds)
        anew = _ask(asked(situation.action, True, topics_of(then)), then, thresholds)
        dates = [
            found.not_before_d
            for each, found in anew
            if (each.id, each.title) not in known
            and WEIGHT[found.severity] >= WEIGHT[draft.severity]
            and found.not_before_d is not None
        ]
        if max(dates, default=0.0) <= date_d:
            break
        date_d = max(dates)
    return draft if date_d == draft.not_before_d else replace(draft, not_before_d=date_d)


NOTHING_TRIED = Tried()
Weights = dict[tuple[str, str], int]


def _tried(item: Rule, draft: Draft, facts: Facts, known: tuple[Weights, tuple[Rule, ...], Thresholds]) -> Tried:
    """Ask the rules about each way of a draft. ``known``: how much each rule's finding weighs now, the rules to ask
    again (a change brings up nothing new), and the limits."""
    ways, new = draft.ways, facts.situation.upper
    if not ways or new is None:
        return NOTHING_TRIED
    before, again, thresholds = known
    offered: list[Way] = []
    broken: tuple[str, ...] = ()
    for way in ways:
        # The offer depends on the ages compared here too: they go into the same book.
        changed = with_upper(facts, changed_new(new, way), thresholds)
        after = {(r.id, r.title): WEIGHT[d.severity] for r, d in _ask(again, changed, thresholds)}
        own = (item.id, item.title)
        raised = tuple(key[0] for key, weight in after.items() if key != own and weight > before.get(key, 0))
        if not raised and after.get(own, 0) < before[own]:
            offered.append(way)
        elif way is ways[0] and (way.by_mix or way.coats):
            broken = raised
    return Tried(tuple(offered), broken)


def worst_of(verdicts: list[Verdict]) -> Severity:
    """The heaviest severity of several verdicts; sound when there is none."""
    return max((verdict.verdict for verdict in verdicts), key=lambda severity: WEIGHT[severity], default=Severity.SOUND)
