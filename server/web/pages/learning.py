"""How good the dates have been, and what was learned: promises with presses, effects, doubtful tests, the choice."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.formats.drawings_promises import PromisedLayer, promises_picture
from server.science.results import FilmState
from server.services import last_wet, learning_choice, learning_report, on_panel
from server.services.last_wet import SeenWet
from server.services.learning_choice import ChoiceUpdate
from server.services.learning_report import LearningReport, PromiseFact
from server.services.next_press import next_presses
from server.web import learning_words, standing_words
from server.web.deps import Page, PageRequest, Posted
from server.web.drawn import dots_shown
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, change, change_by_button, local_path, refused, without

router = APIRouter(prefix="/learning")
MODES = {
    "on": ("Learn from my touch tests", "Every test moves the dates of all layers to come."),
    "frozen": (
        "Keep what is learned, learn no more",
        "Tests still tell of their own layer’s state, and teach nothing.",
    ),
    "off": ("The book’s dates", "Nothing learned is used. Tests still count for their own layer."),
}
HELD = {True: "within", False: "outside", None: "cannot be told"}
NEXT = "next"
SOFT = (FilmState.WET, FilmState.TACKY)


@router.get("")
def overview(page: Page) -> Response:
    return _show(page)


@router.post("/mode")
def choose(page: Page, posted: Posted) -> Response:
    """Learn, keep what is learned, or show the book's dates."""
    command, form = parse(posted, ChoiceUpdate, zone=page.zone)
    if command is None:
        return refused(page, " ".join(form.errors.values()), "/learning", 422)

    def act(session: Session) -> Done:
        learning_choice.choose(session, page.actor, command)
        return Done(f"Learning: {MODES[command.mode][0].lower()}", "/learning")

    return change(page, posted, act)


@router.post("/anew")
def begin_anew(page: Page, posted: Posted) -> Response:
    """Forget what was learned; the tests stay, and only those to come teach."""

    def act(session: Session) -> Done:
        learning_choice.begin_anew(session, page.actor)
        return Done("Began to learn anew: only tests from now on teach", "/learning")

    return change_by_button(page, posted, act, "/learning")


@router.post("/all")
def count_all(page: Page, posted: Posted) -> Response:
    """Let every test teach again."""

    def act(session: Session) -> Done:
        learning_choice.count_all_again(session, page.actor)
        return Done("All touch tests teach again", "/learning")

    return change_by_button(page, posted, act, "/learning")


@router.post("/seen-wet/{uid}")
def seen_wet(page: Page, posted: Posted, uid: str) -> Response:
    """When a layer whose first test found it dry was last seen wet: one tap."""
    with page.db.read() as session:
        here = on_panel.of_layer(session, page.actor, uid)
    back = f"/panels/{here.panel.uid}"
    command, form = parse(without(posted, NEXT), SeenWet, zone=page.zone)
    if command is None:
        return refused(page, " ".join(form.errors.values()), back, 422)
    leads_to = local_path(posted.get(NEXT), back)

    def act(session: Session) -> Done:
        last_wet.answer(session, page.actor, uid, command)
        return Done(f"{here.named}: when it was last seen wet", leads_to)

    return change_by_button(page, posted, act, back)


def _show(page: PageRequest) -> Response:
    with page.db.read() as session:
        report = learning_report.report(session, page.actor, page.zone)
        presses = next_presses(session, page.actor, page.now, page.zone)
    promises = report.promises[::-1]
    context: dict[str, Any] = {
        "report": report,
        "presses": [
            (
                each,
                standing_words.press_words(each.press, page.today, page.zone),
                dots_shown(each.dots, page.today) if each.dots else None,
            )
            for each in presses
        ],
        "modes": [(name, *words) for name, words in MODES.items()],
        "promises": promises,
        "picture": promises_picture([_drawn(each) for each in promises]) if promises else None,
        "held": HELD,
        "open": [each for each in promises if each.presses and not each.scored],
        "form": FormState(values={"mode": report.choice.mode}),
    }
    return page.render("learning/page.html", context | _words(report))


def _words(report: LearningReport) -> dict[str, Any]:
    return {
        "reliability": learning_words.reliability_words(report),
        "said": learning_words.reliability_lines(report),
        "drift": learning_words.drift_words(report),
        "correction": learning_words.correction_words(report),
        "change": learning_words.change_words(report),
        "gain": learning_words.gain_words(report),
        "effects": learning_words.effect_lines(report),
        "pairs": learning_words.pair_lines(report),
        "little": learning_words.LITTLE_PCT,
    }


def _drawn(each: PromiseFact) -> PromisedLayer:
    presses = tuple((press.day, press.state in SOFT, press.is_doubtful) for press in each.presses)
    return PromisedLayer(each.low_d, each.middle_d, each.high_d, presses)
