"""Today's cards: the facts of a panel as the strings its card prints.

Everything is worded here, so that the template only places it: a wall of two hundred panels is drawn often.
"""

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from server.formats.drawings import Miniature
from server.science.results import FilmState
from server.science.soundness.types import Finding, Severity, Verdict
from server.services.board.facts import Moment, PanelFact, RegionFact, Standing
from server.services.give_way import give_way
from server.services.hazards import hazard
from server.web import finish_words, plan_words, standing_words, words
from server.web.drawn import little_panel
from server.web.language.filled import Filled, listed

MOST_FINDINGS = 1
# Rags and solvent concern every sitting: the page says them once.
OF_EVERY_SITTING = ("rags", "solvent")
# Where a press is worth asking for: a panel that is ready or finished is not asked about.
PRESSED = (Standing.RESTS, Standing.TEST_FIRST, Standing.UNPLANNED)


@dataclass(frozen=True, slots=True)
class MixLine:
    """One mix of the next layer: its colour, what it is for, how much to mix."""

    swatch: str
    name: str
    ml: str
    share: str
    holds_up: bool


@dataclass(frozen=True, slots=True)
class FindingLine:
    """One finding: ``kind`` is its severity, ``helps`` the remedy with its day, ``rule`` its page in the rule book."""

    rule: str
    kind: str
    word: str
    title: str
    helps: str


@dataclass(frozen=True, slots=True)
class DueLine:
    """``short`` is how likely the date is kept, ``odds`` the same with when the last layer is touch-dry."""

    kind: str
    word: str
    short: str
    odds: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard of the next layer's mixes; ``anchor`` is its place on the page of cautions."""

    word: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Card:
    """The names of ``today/_card.html``. Empty strings and None are left out of the card.

    ``press`` says when a press tells most; ``is_asked`` that one now counts as asked for. ``top_uid`` is the layer that
    a press of a button tests, "" also once it is varnished for good or gone; ``next_uid`` the one that "Painted" logs;
    both are "" where there is none or another day is looked at. ``finish``: what comes next of a finished panel.
    ``folded``: the next layer in one line, for a panel that rests. ``planned``: its sitting by the plan in use.
    ``doubted``: the layer with a test that wants an answer.
    """

    uid: str
    title: str
    size: str
    kind: str
    word: str
    detail: str
    mini: Miniature
    film: str
    state_kind: str
    state: str
    odds: str
    press: str
    is_asked: bool
    holds_up: str
    next_words: str
    mixes: tuple[MixLine, ...]
    verdict_kind: str
    verdict_word: str
    findings: tuple[FindingLine, ...]
    others: str
    more: str
    lightly: FindingLine | None
    due: DueLine | None
    cautions: tuple[Caution, ...]
    top_uid: str
    next_uid: str
    plan: str
    finish: str
    folded: str
    planned: str
    doubted: str


def card_of(panel: PanelFact, moment: Moment) -> Card:
    """The card of one panel, in words that start from the studio's real day."""
    give_way()
    today, zone = moment.today, moment.zone
    coming, top, verdict = panel.coming, panel.top, panel.verdict
    is_now = moment.on == today
    is_behind = panel.closing is not None and panel.closing.is_behind
    press = panel.rest.press if is_now and panel.standing in PRESSED and not is_behind else None
    return Card(
        uid=panel.uid,
        title=panel.title,
        size=_size(panel),
        kind=standing_words.STANDING_SHAPES[panel.standing],
        word=standing_words.STANDING_WORDS[panel.standing],
        detail=standing_words.rest_words(panel, today),
        mini=little_panel(panel, 56.0),
        film=standing_words.film_words(top, today, zone),
        state_kind="" if top is None or top.state is FilmState.NONE else top.state.value,
        state=standing_words.state_words(top),
        odds=standing_words.touch_odds_words(panel),
        press=standing_words.press_words(press, today, zone),
        is_asked=press is not None and press.is_now,
        holds_up=_holding(panel),
        next_words="" if coming is None else standing_words.layer_words(coming),
        mixes=() if coming is None else tuple(_mix(region) for region in coming.regions),
        verdict_kind="" if verdict is None else verdict.verdict.value,
        verdict_word="" if verdict is None else standing_words.VERDICT_WORDS[verdict.verdict],
        findings=() if verdict is None else _findings(panel, verdict, today, zone),
        others="" if verdict is None else _others(verdict),
        more="" if verdict is None else _more(verdict),
        lightly=_lightly(panel),
        due=_due(panel, today),
        cautions=() if coming is None else _cautions(coming.hazards),
        top_uid=top.uid if top is not None and is_now and not is_behind else "",
        next_uid=coming.uid if coming is not None and is_now else "",
        plan=_plan(panel),
        finish=_finish(panel, today),
        folded=_folded(panel),
        planned=_planned(panel, today),
        doubted=top.uid if top is not None and top.has_doubt and is_now else "",
    )


def _size(panel: PanelFact) -> str:
    size = words.size_words(panel.width_mm, panel.height_mm)
    return Filled("{size} · {place}", size=size, place=panel.place) if panel.place else size


def _holding(panel: PanelFact) -> str:
    """The region that the top layer waits for, while it waits."""
    top = panel.top
    if top is None or top.holds_up is None or panel.standing not in (Standing.RESTS, Standing.TEST_FIRST):
        return ""
    return Filled("slowest part: {region}", region=top.holds_up)


def _mix(region: RegionFact) -> MixLine:
    name = (
        region.mix_label
        if region.name == region.mix_label
        else Filled("{mix} in {where}", mix=region.mix_label, where=region.name)
    )
    share = "" if region.share > 0.995 else words.pct_words(region.share)
    return MixLine(region.swatch, name, words.ml_words(region.ml), share, region.holds_up)


def _findings(panel: PanelFact, verdict: Verdict, today: date, zone: ZoneInfo) -> tuple[FindingLine, ...]:
    return tuple(_finding(found, panel, today, zone) for found in verdict.findings[:MOST_FINDINGS])


def _finding(found: Finding, panel: PanelFact, today: date, zone: ZoneInfo) -> FindingLine:
    word = standing_words.VERDICT_WORDS[found.severity]
    title = f"{found.title} ({found.rule})"
    if found.rule == standing_words.TOUCH_GATE:
        helps = standing_words.touch_gate_words(found, panel.top, today, zone)
    else:
        helps = standing_words.remedy_words(found, panel.top, today, zone)
    return FindingLine(found.rule, found.severity.value, word, title, helps)


def _others(verdict: Verdict) -> str:
    """How many findings stand behind the worst."""
    left = len(verdict.findings) - 1
    return f" and {left} more" if left > 0 else ""


def _more(verdict: Verdict) -> str:
    left = len(verdict.findings) - MOST_FINDINGS
    return f"{words.count_words(left, 'more finding')}" if left > 0 else ""


def _lightly(panel: PanelFact) -> FindingLine | None:
    """Working lightly into the tacky film, where the rules let it pass with a caution."""
    verdict = panel.lightly
    if verdict is None or verdict.verdict is Severity.STOP:
        return None
    found = next((f for f in verdict.findings if f.rule == standing_words.WORK_LIGHTLY), None)
    if found is None:
        return None
    word = f"{standing_words.VERDICT_WORDS[verdict.verdict]}: working lightly"
    may, how = standing_words.lightly_words(found)
    return FindingLine(found.rule, verdict.verdict.value, word, may, how)


def _due(panel: PanelFact, today: date) -> DueLine | None:
    if panel.due is None:
        return None
    kind = "at_risk" if panel.due.at_risk else "due"
    short, odds = standing_words.due_odds_words(panel, today), standing_words.due_risk_words(panel, today)
    return DueLine(kind, standing_words.due_words(panel.due, today), short, odds)


def _cautions(kinds: tuple[str, ...]) -> tuple[Caution, ...]:
    named = [hazard(kind) for kind in kinds if kind not in OF_EVERY_SITTING]
    return tuple(Caution(item.word, item.anchor) for item in named)


def _folded(panel: PanelFact) -> str:
    """The next layer of a resting panel: what to mix then, and what else the rules say of it."""
    coming = panel.coming
    if coming is None or panel.standing is not Standing.RESTS:
        return ""
    mixes = tuple(
        Filled(
            "{mix} {amount} on {share}" if mix.share else "{mix} {amount}", mix=mix.name, amount=mix.ml, share=mix.share
        )
        for mix in map(_mix, coming.regions)
    )
    findings = panel.verdict.findings if panel.verdict else ()
    is_gated = any(found.rule == standing_words.TOUCH_GATE for found in findings)
    gate = f", once it is touch-dry ({standing_words.TOUCH_GATE})" if is_gated else ""
    also = [
        f"{standing_words.VERDICT_WORDS[found.severity].lower()}: {found.title} ({found.rule})"
        for found in findings
        if found.rule != standing_words.TOUCH_GATE
    ]
    told = Filled("Next{gate}: {layer}", gate=gate, layer=standing_words.layer_words(coming))
    if mixes:
        told = Filled("{layer}: {mixes}", layer=told, mixes=listed(mixes))
    else:
        told = Filled("{layer}: no mix named yet", layer=told)
    if also:
        return Filled("{told}. As planned, {also}.", told=told, also="; ".join(also))
    return Filled("{told}.", told=told)


def _planned(panel: PanelFact, today: date) -> str:
    """When the plan in use has the next layer painted, and with which palette."""
    sitting = None if panel.coming is None else panel.coming.sitting
    if sitting is None:
        return ""
    palette = "" if standing_words.is_far(sitting.on, today) else plan_words.palette_words(sitting)
    when = plan_words.when_words(sitting, today)
    broken = plan_words.broken_words(sitting, today)
    if broken and sitting.broken is not None:
        told = f"Was planned {when}; {broken}"
        return f"{told}: plan anew" if sitting.broken.can_mend else told
    return (
        Filled("Planned {when}: {mixes}", when=when, mixes=palette) if palette else Filled("Planned {when}", when=when)
    )


def _finish(panel: PanelFact, today: date) -> str:
    """What comes next of a finished panel: a step that is planned, or its swab."""
    if panel.standing is not Standing.FINISHED or panel.closing is None:
        return ""
    return finish_words.next_words(panel.closing, today)


def _plan(panel: PanelFact) -> str:
    return f"/panels/{panel.uid}/layers/new" if panel.standing is Standing.UNPLANNED else ""
