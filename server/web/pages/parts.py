"""The living page of the design's parts: every part in every state, by daylight and by lamplight side by side."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter
from starlette.responses import Response

from server.formats.drawings import Miniature, SectionLayer, SectionRegion, SectionSubject, miniature
from server.formats.drawings_calendar import (
    CalendarDrawing,
    CalendarFilm,
    CalendarPin,
    CalendarRow,
    CalendarSpan,
    draw_calendar,
)
from server.formats.drawings_calendar import Spread as DaySpread
from server.formats.drawings_faults import FaultDrawing, every_fault
from server.formats.drawings_odds import OddsPicture, odds_picture
from server.formats.drawings_section import SectionDrawing, cross_section
from server.formats.swatch import pigment_colour, pigments_swatch
from server.science.recipe import PigmentShare
from server.web.deps import Page
from server.web.drawn import DotsShown, dots_shown
from server.web.forms import FormState

router = APIRouter()

STATES = (
    ("wet", "Wet"),
    ("tacky", "Tacky"),
    ("touch_dry", "Touch-dry"),
    ("firm", "Firm"),
    ("ready", "Ready"),
    ("test", "Touch it first"),
    ("rests", "Resting"),
    ("stopped", "Stopped"),
    ("at_risk", "Date at risk"),
    ("finished", "Finished"),
    ("planned", "Planned"),
    ("bare", "Bare ground"),
    ("due", "Due"),
    ("sound", "Sound"),
    ("note", "A note"),
    ("caution", "Caution"),
    ("stop", "Stop"),
)
COLOURS = (
    ("wall", "chalk", "sunk", "hover", "rule", "edge"),
    ("ink", "quiet", "act", "press", "umber", "board"),
    ("wet", "tacky", "touch_dry", "firm"),
)
UMBER, GREY, GREEN = "#6b4a30", "#8d8a80", "#6f7d4f"


@dataclass(frozen=True, slots=True)
class Card:
    """An example of a panel's card. All of it is invented."""

    mini: Miniature
    kind: str
    word: str
    detail: str
    title: str
    next_layer: str


@dataclass(frozen=True, slots=True)
class PartsPage:
    states: tuple[tuple[str, str], ...]
    colours: tuple[tuple[str, ...], ...]
    cards: tuple[Card, ...]
    minis: tuple[Miniature, ...]
    sections: tuple[tuple[str, SectionDrawing], ...]
    faulty: tuple[FaultDrawing, ...]
    season: CalendarDrawing
    month: CalendarDrawing
    odds_shown: tuple[OddsPicture, ...]
    dots_shown: DotsShown
    mixes: tuple[tuple[str, str], ...]
    form_for: Callable[..., FormState]


DOTTED = (0, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 6, 8)  # twenty days, an example


@router.get("/parts")
def parts(page: Page) -> Response:
    return page.render("parts/index.html", examples())


def examples() -> PartsPage:
    pears = _two_pears()
    return PartsPage(
        states=STATES,
        colours=COLOURS,
        cards=_cards(pears),
        minis=_minis(pears),
        sections=(
            ("pears", cross_section(SectionSubject("Two pears", pears, "acrylic ground", support_label="hardboard"))),
            ("wave", cross_section(SectionSubject("Breaking wave", _impasto(), support_label="stretched linen"))),
            ("wave-log", cross_section(SectionSubject("Breaking wave", _impasto(), support_label="linen"), log=True)),
            ("bare", cross_section(SectionSubject("A bare panel", (), "chalk ground", support_label="oak"))),
        ),
        faulty=every_fault(),
        season=draw_calendar(_rows(), CalendarSpan(date(2031, 3, 3), 112, 8.0, 38.4)),
        month=draw_calendar(_rows(), CalendarSpan(date(2031, 3, 31), 35, 30.0, 10.4)),
        dots_shown=dots_shown([date(2031, 3, 3 + n) for n in DOTTED], date(2031, 3, 3)),
        odds_shown=tuple(odds_picture(odds) for odds in (0.0, 0.02, 0.3, 0.85, 1.0)),
        mixes=_mixes(),
        form_for=form_for,
    )


def form_for(theme: str, fault: bool = False) -> FormState:
    """A form for one side of the page; ``theme`` keeps the fields' names apart."""
    form = FormState(
        values={
            f"{theme}_title": "Two pears",
            f"{theme}_width": "30" if not fault else "-30",
            f"{theme}_stage": "tacky",
            f"{theme}_ground": "acrylic",
            f"{theme}_swatch": "#7c6a45",
            f"{theme}_measured": "true",
            f"{theme}_parts-0-paint": "umber",
            f"{theme}_parts-0-parts": "2",
            f"{theme}_parts-1-paint": "white",
            f"{theme}_parts-1-parts": "0" if fault else "1",
        }
    )
    if fault:
        form.add_error(f"{theme}_width", "A panel needs a width above 0 cm.")
        form.add_error(f"{theme}_parts-1-parts", "Parts are more than 0.")
        form.theirs = {f"{theme}_title": "Two quinces"}
    return form


def _region(name: str, share: float, colour: str, state: str, detail: str = "") -> SectionRegion:
    return SectionRegion(name, share, colour, state, detail)


def _two_pears() -> tuple[SectionLayer, ...]:
    return (
        SectionLayer(
            "Imprimatura",
            20,
            9,
            (_region("thin umber", 1, UMBER, "firm"),),
            severity="note",
            finding="On an absorbent ground: expect some sinking",
        ),
        SectionLayer(
            "Underpainting",
            45,
            43,
            (
                _region("grey lights", 0.55, GREY, "firm"),
                _region("black shadows", 0.45, "#3b3733", "touch_dry"),
            ),
            state="touch_dry",
            detail="painted Monday",
            severity="sound",
            finding="Sound",
        ),
        SectionLayer(
            "Second painting",
            60,
            60,
            (
                _region("pear greens", 0.4, GREEN, "tacky", "touch-dry likely Thursday to Saturday"),
                _region("cloth white", 0.35, "#e8e2d3", "tacky"),
                _region("background", 0.25, "#54483a", "wet", "holds the layer up"),
            ),
            state="wet",
            severity="caution",
            finding="Leaner than what lies below",
        ),
        SectionLayer(
            "Glaze",
            12,
            10,
            (_region("warm glaze", 1, "#7a3b1c", "planned"),),
            painted=False,
            severity="stop",
            finding="Not before the layer below is touch-dry",
        ),
    )


def _impasto() -> tuple[SectionLayer, ...]:
    return (
        SectionLayer("Toned ground", 15, 8, (_region("blue grey", 1, "#7d8a92", "firm"),)),
        SectionLayer(
            "Sea", 50, 50, (_region("deep", 0.6, "#2d4f63", "firm"), _region("shallow", 0.4, "#6f9a94", "firm"))
        ),
        SectionLayer("Glaze", 10, 8, (_region("green glaze", 1, "#3f6b57", "touch_dry"),), state="touch_dry"),
        SectionLayer(
            "Foam",
            2000,
            2000,
            (_region("knife white", 0.7, "#efece2", "tacky"),),
            state="tacky",
            severity="note",
            finding="Thick: firm in months, not weeks",
        ),
    )


def _cards(pears: tuple[SectionLayer, ...]) -> tuple[Card, ...]:
    firm = tuple(layer for layer in _impasto()[:3])
    small = miniature(300, 240, pears)
    return (
        Card(miniature(400, 300, firm), "ready", "Ready", "touch-dry since Tuesday", "Harbour, grey morning", "Glaze"),
        Card(small, "test", "Touch it first", "15 in 20 that it is dry", "Two pears", "Second painting"),
        Card(miniature(200, 500, pears), "rests", "Resting", "likely Thursday to Saturday", "Tall reeds", "Scumble"),
        Card(miniature(600, 300, pears[:2]), "stopped", "Stopped", "not before 3 December", "Long field", "Lights"),
        Card(
            miniature(240, 300, pears[:1]), "at_risk", "Date at risk", "due 12 December", "Portrait of a cup", "Details"
        ),
        Card(
            miniature(500, 500, _impasto()), "finished", "Finished", "varnish likely May to August", "Breaking wave", ""
        ),
    )


def _minis(pears: tuple[SectionLayer, ...]) -> tuple[Miniature, ...]:
    sizes = ((300, 240), (240, 300), (200, 500), (600, 150), (400, 400))
    stacks = ((), pears[:1], pears[:2], pears, _impasto())
    return tuple(miniature(width, height, stack) for (width, height), stack in zip(sizes, stacks, strict=True))


def _film(label: str, start: float, days: float, until: float | None = None, *, planned: bool = False) -> CalendarFilm:
    """A film that is touch-dry after about ``days``, with the spread of an unmeasured room."""

    def around(middle: float) -> DaySpread:
        return DaySpread(*(start + middle * factor for factor in (0.45, 0.55, 1.0, 1.8, 2.2)))

    colours = {"Imprimatura": UMBER, "Underpainting": GREY, "Second painting": GREEN, "Glaze": "#7a3b1c"}
    return CalendarFilm(
        label,
        start,
        around(0.7 * days),
        around(days),
        around(2.6 * days),
        until,
        planned,
        colours.get(label, "#4a6277"),
        f"{label}{' planned' if planned else ''}",
        "/parts",
    )


def _rows() -> tuple[CalendarRow, ...]:
    return (
        CalendarRow(
            "Two pears",
            "/parts",
            (
                _film("Imprimatura", 3.4, 1.2, 9.5),
                _film("Underpainting", 9.5, 5.8, 30.4),
                _film("Second painting", 30.4, 7.5, 52.4),
                _film("Glaze", 52.4, 4.0, planned=True),
            ),
            (CalendarPin(96.5, "due", "Due on 7 June"),),
        ),
        CalendarRow(
            "Harbour, grey morning",
            "/parts",
            (
                _film("Underpainting", 14.4, 4.2, 26.6),
                _film("Sky", 26.6, 5.0, 41.5),
                _film("Boats", 41.5, 5.8, planned=True),
            ),
        ),
        CalendarRow(
            "Tall reeds", "/parts", (_film("Underpainting", 36.6, 12.8),), (CalendarPin(50.5, "at_risk", "Due"),)
        ),
        CalendarRow("Breaking wave", "/parts", (_film("Sea", -12, 5.8, 6.4), _film("Foam", 6.4, 20.0))),
        CalendarRow("A bare panel", "/parts", ()),
    )


def _mixes() -> tuple[tuple[str, str], ...]:
    """The look of some pigments alone and with ten parts of white, and of a few mixes."""
    white = PigmentShare("PW6")
    shown = []
    for name, variant in (
        ("PB29", None),
        ("PB15", None),
        ("PR83", None),
        ("PY42", None),
        ("PBr7", "raw umber"),
        ("PG18", None),
        ("PR108", None),
        ("PBk9", None),
    ):
        pigment, colour = PigmentShare(name, variant), pigment_colour(name, variant)
        assert colour is not None
        shown.append((f"{name} alone", pigments_swatch([(pigment, 1)])))
        shown.append((f"{name} in 10 of white: {colour.tint}", pigments_swatch([(pigment, 1), (white, 10)])))
    shown.append(("PY37 and PB29, equal", pigments_swatch([(PigmentShare("PY37"), 1), (PigmentShare("PB29"), 1)])))
    shown.append(
        ("PB29 and PBr7, equal", pigments_swatch([(PigmentShare("PB29"), 1), (PigmentShare("PBr7", "burnt umber"), 1)]))
    )
    return tuple(shown)
