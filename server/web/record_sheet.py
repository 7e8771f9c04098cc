"""A panel's record in words: from what was kept when each layer went on to the lines of the sheet."""

from collections.abc import Iterable, Mapping
from datetime import date
from zoneinfo import ZoneInfo

from server.formats.drawings import SectionLayer, SectionRegion, SectionSubject
from server.formats.drawings_section import SectionDrawing, cross_section
from server.formats.record import (
    AdditionUsed,
    LayerRecord,
    MixUsed,
    Overruled,
    PaintUsed,
    PanelRecord,
    PigmentUsed,
    StepRecord,
    TestMade,
    figure,
    parts_words,
)
from server.formats.swatch import mix_swatch
from server.science.errors import InputError
from server.science.recipe import Addition, AdditionKind, MixRecipe, PigmentShare
from server.science.reference import find_pigment, oil, solvent
from server.science.results import FilmState, Stage
from server.science.soundness.types import Severity
from server.services.board.facts import ClosingFact, GateFact, LayerFact, PanelBoard
from server.services.board.test_fact import TestFact
from server.services.overrides import FrozenVerdict
from server.services.panel_record import RecordFacts
from server.web import action_words, finish_words, standing_words, words
from server.web.drawn import GROUND_WORDS, SUPPORT_WORDS, film_um

MATERIALS = {
    "oil": "oil",
    "alkyd": "oil with an alkyd medium",
    "acrylic": "acrylic",
    "retouch_varnish": "retouch varnish",
    "old_painting": "an old painting",
}
TEXTURES = {"smooth": "smooth", "fine_canvas": "fine canvas", "coarse": "coarse"}
CONSERVATOR = "Whatever is to be done to it later, a conservator decides; this sheet says what is in it."
METALS = {"Pb": "lead", "Mn": "manganese", "Co": "cobalt"}


def sheet(facts: RecordFacts, cautions: tuple[tuple[str, str], ...]) -> PanelRecord:
    """The record; ``cautions`` are what the paint calls for, each with its words."""
    board, zone = facts.board, facts.board.moment.zone
    panel, today = board.panel, board.moment.today
    ground = f"{GROUND_WORDS[board.ground_kind]}, {board.ground_surface}"
    return PanelRecord(
        title=panel.title,
        studio=facts.studio,
        is_invented=facts.is_invented,
        made_on=today,
        zone=zone.key,
        width_cm=panel.width_mm / 10,
        height_cm=panel.height_mm / 10,
        support=SUPPORT_WORDS[board.support],
        ground=f"{ground}, {board.ground_pigment}" if board.ground_pigment else ground,
        ground_on=board.ground_on,
        place=panel.place,
        finished_on=board.finished_on,
        notes=board.notes,
        layers=tuple(_layer(layer, facts) for layer in board.layers if layer.is_painted),
        steps=tuple(_steps(facts)),
        tests=_finish_tests(panel.closing, zone),
        varnish=_varnish(facts, today),
        advice=(*advice(facts.board, facts.varnish, finish_words.paper_opens_words(facts.varnish, today)), CONSERVATOR),
        cautions=cautions,
    )


def drawing(record: PanelRecord, is_log: bool) -> SectionDrawing:
    """The cross-section of what is on, with the colours that went on."""
    layers = tuple(
        SectionLayer(
            label=layer.kind,
            wet_um=layer.wet_um,
            film_um=layer.film_um,
            regions=tuple(
                SectionRegion(mix.name, mix.area_share, mix.swatch, _shape(layer.state)) for mix in layer.mixes
            ),
            painted=True,
            state=_shape(layer.state),
            detail=f"painted {words.full_date(layer.painted_at.date())}",
        )
        for layer in record.layers
    )
    subject = SectionSubject(
        record.title, layers, ground_label=record.ground.split(",")[0], support_label=record.support
    )
    return cross_section(subject, log=is_log)


STATE_SHAPES = {word: state.value for state, word in standing_words.STATE_WORDS.items() if state is not FilmState.NONE}


def _shape(state: str) -> str:
    return STATE_SHAPES.get(state.removeprefix("most likely ").removesuffix(" now"), "planned")


def _layer(layer: LayerFact, facts: RecordFacts) -> LayerRecord:
    zone, today = facts.board.moment.zone, facts.board.moment.today
    assert layer.painted_at is not None
    recipe = facts.recipes.get(layer.uid)
    through = layer.stages.get(Stage.DRY_THROUGH)
    state = standing_words.state_words(layer)
    return LayerRecord(
        number=layer.number,
        kind=layer.kind,
        material=MATERIALS[layer.material.value],
        painted_at=layer.painted_at.astimezone(zone),
        wet_um=layer.wet_thickness_um,
        film_um=film_um(layer),
        texture=TEXTURES[layer.texture],
        surface=facts.surfaces.get(layer.uid, ""),
        state=f"{state} now" if state else "not known now",
        dry_through="" if through is None else f"dry through {standing_words.paper_span(through, today)}",
        mixes=tuple(_mix(mix) for mix in recipe.mixes) if recipe else (),
        tests=tuple(_test(test, zone) for test in layer.tests),
        overruled=_overruled(facts.kept, layer.uid),
        notes=layer.notes,
    )


def _mix(mix: MixRecipe) -> MixUsed:
    return MixUsed(
        name=mix.name,
        area_share=mix.area_share,
        swatch=mix_swatch(mix),
        paints=tuple(PaintUsed(p.parts, _oil(p.oil), tuple(_pigment(s) for s in p.pigments)) for p in mix.paints),
        additions=tuple(AdditionUsed(a.kind.value, addition_words(a), a.parts or None) for a in mix.additions),
    )


def _pigment(share: PigmentShare) -> PigmentUsed:
    try:
        name = find_pigment(share.ci_name, share.variant).label
    except InputError:
        name = ""
    return PigmentUsed(share.ci_name, share.variant or "", name, share.share)


def _oil(name: str) -> str:
    try:
        label = oil(name).label.lower()
    except InputError:
        return name
    return label if "oil" in label else f"{label} oil"


def addition_words(addition: Addition) -> str:
    """``0.5 parts stand oil``, ``lead drier, 0.5 % of metal on the oil``."""
    parts = parts_words(addition.parts)
    match addition.kind:
        case AdditionKind.OIL:
            return f"{parts} {_oil(addition.oil or 'linseed')} added"
        case AdditionKind.SOLVENT:
            return f"{parts} {_solvent(addition.solvent)}"
        case AdditionKind.ALKYD_MEDIUM:
            stays = f", {addition.non_volatile * 100:.0f} % of it stays" if addition.non_volatile is not None else ""
            return f"{parts} alkyd gel medium{stays}"
        case AdditionKind.DRIER:
            metal = METALS.get(addition.metal or "", addition.metal or "")
            return f"{metal} drier, {figure(addition.percent_on_oil or 0.0)} % of metal on the oil"
        case AdditionKind.CLOVE_OIL:
            return f"{figure(addition.drops_per_10_ml or 0.0)} drops of clove oil in 10 ml"
        case AdditionKind.WAX:
            return f"{parts} wax"
        case AdditionKind.INERT:
            return f"{parts} chalk or another inert white"
        case AdditionKind.SOFT_RESIN:
            return f"{parts} soft resin"


def _solvent(name: str | None) -> str:
    try:
        return solvent(name or "odourless_mineral_spirits").label.lower()
    except InputError:
        return name or "thinner"


def _test(test: TestFact, zone: ZoneInfo) -> TestMade:
    what = f"touch test: {standing_words.STATE_WORDS[test.state]}"
    return TestMade(test.pressed_at.astimezone(zone), what, test.place_on_panel, test.note)


def _finish_tests(closing: ClosingFact | None, zone: ZoneInfo) -> tuple[TestMade, ...]:
    if closing is None:
        return ()
    return tuple(
        TestMade(
            test.tested_at.astimezone(zone),
            finish_words.test_words(test.method, test.result),
            test.place_on_panel,
            test.note,
        )
        for test in reversed(closing.tests)
    )


def _steps(facts: RecordFacts) -> Iterable[StepRecord]:
    """What was done, the earliest first, then what is planned."""
    zone = facts.board.moment.zone
    done = [step for step in reversed(facts.steps) if step.done_at is not None]
    for step in [*done, *(step for step in facts.steps if step.done_at is None)]:
        named = action_words.ACTIONS[step.action]
        yield StepRecord(
            what=named.done if step.done_at else named.name,
            is_done=step.done_at is not None,
            on=step.done_at.astimezone(zone).date() if step.done_at else step.planned_on,
            transit_c=step.transit_c,
            note=step.note,
            overruled=_overruled(facts.kept, step.uid),
        )


def _overruled(kept: Mapping[str, tuple[FrozenVerdict, str]], uid: str) -> Overruled | None:
    if uid not in kept:
        return None
    verdict, reason = kept[uid]
    findings = tuple(f"{found.title} ({found.rule})" for found in verdict.findings if found.severity != "note")
    return Overruled(standing_words.VERDICT_WORDS[Severity(verdict.verdict)].lower(), findings, reason)


def _varnish(facts: RecordFacts, today: date) -> str:
    closing = facts.board.panel.closing
    if closing is not None and closing.varnished_at is not None:
        varnished = closing.varnished_at.astimezone(facts.board.moment.zone).date()
        return f"final varnish on since {words.full_date(varnished)}"
    temporary = closing is not None and closing.done_since("temporary_varnish") is not None
    first = facts.varnish.first
    if first is not None and first.high <= today and facts.varnish.opens_on is None:
        return f"{'temporary varnish' if temporary else 'none'}; the wait for a final varnish is over"
    if facts.varnish.verdict is None:
        return "temporary varnish" if temporary else "none"
    days = finish_words.paper_first_words(facts.varnish, today)
    return f"temporary varnish; the final one {days}" if temporary else f"none; a final varnish {days}"


def _has_varnish_within(closing: ClosingFact) -> bool:
    """Whether a coat of varnish lies under the last layer."""
    coats = (step.done_at for step in closing.done if step.action in ("temporary_varnish", "final_varnish"))
    return closing.since is not None and any(at is not None and at < closing.since for at in coats)


def advice(board: PanelBoard, gate: GateFact, opens: str) -> Iterable[str]:
    """What whoever holds the picture does next about its varnish, and how it wants to be kept meanwhile; ``gate`` is
    that of a final varnish, and ``opens`` the words for the day that the rules name for it."""
    closing = board.panel.closing
    if closing is not None and closing.varnished_at is not None:
        yield "It has its final varnish. It can be taken off again by a conservator; do not clean it with spirit."
    elif closing is not None and _has_varnish_within(closing):
        yield "Varnish lies under its last layer: a later cleaning would dissolve it from between the layers."
    if (closing is None or closing.varnished_at is None) and gate.verdict is not None:
        if opens:
            yield f"No final varnish yet. {opens}; a date is only the earliest day to test."
        for finding in gate.verdict.findings:
            if finding.remedy is not None:
                yield f"{finding.title} ({finding.rule}): {finding.remedy.text}"
    if gate.verdict is not None and any(layer.state is not FilmState.FIRM for layer in board.layers):
        yield (
            "Until it is dry through nothing may touch its face; keep it upright, out of the sun, away from heat and "
            "damp walls."
        )
