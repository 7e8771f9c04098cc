"""One panel's progress for somebody who waits for it, in the words of the panel's own pages."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.formats.drawings_section import SectionDrawing, cross_section
from server.services.board.calendar_facts import CalendarRow
from server.services.board.facts import (
    ClosingFact,
    GateFact,
    LayerFact,
    Moment,
    PanelBoard,
    PanelFact,
    StepFact,
)
from server.services.hazards import hazard, in_order
from server.web import action_words, finish_words, record_sheet, standing_words, words
from server.web.calendar_rows import is_stopped_for_good, layer_words
from server.web.drawn import GROUND_WORDS, SUPPORT_WORDS, subject_of
from server.web.today_cards import OF_EVERY_SITTING, Card, card_of

FINAL_VARNISH = "final_varnish"
GATES = (FINAL_VARNISH, "frame", "ship")
GATE_WORDS = {"sound": "Open", "note": "Open, with a note", "caution": "Caution", "stop": "Not yet"}


@dataclass(frozen=True, slots=True)
class ProgressLine:
    """One thing done or to come: ``anchor`` for those that have a place of their own, ``kind`` is a shape's name."""

    anchor: str
    kind: str
    word: str
    told: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class GateLine:
    """From when something may be done; ``opens`` the day the rules name, "" for none."""

    kind: str
    name: str
    word: str
    first: str
    opens: str


@dataclass(frozen=True, slots=True)
class Progress:
    """The names of ``share/progress.html`` (as ``progress``). ``section`` None: it was not ticked. ``last_layer`` is
    when the last layer will be touch-dry, "" where it is on or nothing is known."""

    card: Card
    size: str
    section: SectionDrawing | None
    has_mixes: bool
    done: tuple[ProgressLine, ...]
    to_come: tuple[ProgressLine, ...]
    layers_to_come: int
    last_layer: str
    due: str
    due_kind: str
    gates: tuple[GateLine, ...]
    varnished: str
    advice: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]
    notes: str


def progress_of(
    row: CalendarRow, board: PanelBoard, gates: Sequence[GateFact], shows: frozenset[str], texts: Mapping[str, str]
) -> Progress:
    """The page of a panel; ``row`` and ``board`` hold only what may be seen, ``texts`` are the cautions by kind."""
    panel, moment = board.panel, board.moment
    today = moment.today
    subject = subject_of(board, GROUND_WORDS[board.ground_kind], SUPPORT_WORDS[board.support])
    card = card_of(panel, moment)
    varnish = next((gate for gate in gates if gate.action == FINAL_VARNISH), None)
    painted = [layer for layer in board.layers if layer.is_painted]
    kinds = in_order(kind for layer in painted for kind in layer.hazards if kind not in OF_EVERY_SITTING)
    return Progress(
        card=card,
        size=card.size if "sizes" in shows else "",
        section=cross_section(subject, log=False) if "section" in shows and board.layers else None,
        has_mixes="mixes" in shows,
        done=(*_painted(row, board, moment), *_done(panel.closing, moment)),
        to_come=(*_planned(row, moment), *_planned_steps(panel.closing, today)),
        layers_to_come=panel.layers_to_come,
        last_layer=_last_layer(panel, today),
        due="" if panel.due is None else _due(panel, today),
        due_kind="" if panel.due is None else "at_risk" if panel.due.at_risk else "due",
        gates=tuple(_gate(gate, today) for gate in gates if painted and not _is_behind(gate, panel.closing)),
        varnished=_varnished(panel.closing, moment),
        advice=_advice(board, varnish, today) if varnish and painted else (),
        cautions=tuple((hazard(kind).word, texts[kind]) for kind in kinds),
        notes=board.notes,
    )


def _advice(board: PanelBoard, varnish: GateFact, today: date) -> tuple[str, ...]:
    return tuple(record_sheet.advice(board, varnish, finish_words.opens_words(varnish, today)))


def _painted(row: CalendarRow, board: PanelBoard, moment: Moment) -> Iterable[ProgressLine]:
    facts = {layer.uid: layer for layer in board.layers}
    for layer in row.layers:
        fact = facts.get(layer.uid)
        if not layer.is_planned and fact is not None:
            state = standing_words.state_words(fact)
            told = layer_words(layer, moment)
            yield ProgressLine(
                f"layer-{layer.uid}", _shape(fact), f"{layer.number}. {state}" if state else "", told, fact.notes
            )


def _shape(layer: LayerFact) -> str:
    return layer.state.value if layer.state.value != "none" else "test"


def _planned(row: CalendarRow, moment: Moment) -> Iterable[ProgressLine]:
    if is_stopped_for_good(row.panel, moment.today):
        yield ProgressLine("", "planned", "Planned", "the next layer is being thought over: no day can be told yet")
        return
    for layer in row.layers:
        if layer.is_planned and layer.goes_on:
            yield ProgressLine(f"layer-{layer.uid}", "planned", f"{layer.number}. planned", layer_words(layer, moment))
    if row.panel.stop is not None and row.panel.stop.until is None:
        told = f"“{row.panel.stop.kind}” is being thought over: no day can be told yet"
        yield ProgressLine("", "planned", "Planned", told)


def _done(closing: ClosingFact | None, moment: Moment) -> Iterable[ProgressLine]:
    for step in reversed(closing.done) if closing else ():
        assert step.done_at is not None
        day = words.day_words(step.done_at.astimezone(moment.zone).date(), moment.today)
        yield ProgressLine("", "finished", action_words.ACTIONS[step.action].done, day, step.note)


def _planned_steps(closing: ClosingFact | None, today: date) -> Iterable[ProgressLine]:
    for step in closing.planned if closing else ():
        yield ProgressLine("", "planned", action_words.action_name(step.action), _planned_day(step, today), step.note)


def _planned_day(step: StepFact, today: date) -> str:
    return "no day yet" if step.planned_on is None else f"planned {words.day_words(step.planned_on, today)}"


def _last_layer(panel: PanelFact, today: date) -> str:
    if not panel.layers_to_come or panel.finish is None or is_stopped_for_good(panel, today):
        return ""
    return standing_words.span_words(panel.finish, today)


def _due(panel: PanelFact, today: date) -> str:
    assert panel.due is not None
    odds = standing_words.due_risk_words(panel, today)
    return standing_words.due_words(panel.due, today) + (f": {odds}" if odds else "")


def _is_behind(gate: GateFact, closing: ClosingFact | None) -> bool:
    """Whether what the gate is for is done already, to the picture as it is."""
    return closing is not None and closing.done_since(gate.action) is not None


def _gate(gate: GateFact, today: date) -> GateLine:
    kind = gate.verdict.verdict.value if gate.verdict else "test"
    return GateLine(
        kind=kind,
        name=action_words.action_name(gate.action),
        word=GATE_WORDS.get(kind, "Not known"),
        first=finish_words.first_words(gate, today),
        opens=finish_words.opens_words(gate, today),
    )


def _varnished(closing: ClosingFact | None, moment: Moment) -> str:
    if closing is None or closing.varnished_at is None:
        return ""
    return words.full_date(closing.varnished_at.astimezone(moment.zone).date())
