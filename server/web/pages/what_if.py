"""What if a layer were laid otherwise: the dates at once, why, the parts of the time, and the chance day by day.

The form is sent by GET: an address is a question. Nothing is changed by asking.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.responses import Response

from server.formats.drawings_curves import ChanceDrawing, chance_drawing, chances
from server.formats.drawings_odds import odds_words
from server.science.results import Stage
from server.services import on_panel, pigment_names, what_if
from server.services.board import moment_of
from server.services.board.spans import instant
from server.services.errors import Invalid
from server.services.what_if import WhatIfAnswer, WhatIfQuestion
from server.web.deps import Page, PageRequest
from server.web.forms import COMMAND_KEY, parse

router = APIRouter()

MEDIUMS = (
    ("alkyd", "alkyd gel medium"),
    ("linseed", "linseed oil"),
    ("walnut", "walnut oil"),
    ("poppy", "poppy oil"),
    ("safflower", "safflower oil"),
    ("stand_linseed", "stand oil"),
)


@dataclass(frozen=True, slots=True)
class RegionCurves:
    """The curves of one mix; ``rows`` of the table beside them: the day, and the chance of each stage by then."""

    name: str
    drawing: ChanceDrawing
    rows: tuple[tuple[datetime, dict[Stage, str]], ...]


@router.get("/layers/{uid}/what-if")
def what_if_page(page: Page, uid: str) -> Response:
    """The layer as it is and as the address has it; for htmx the answer alone."""
    asked = FormData([(n, v) for n, v in page.request.query_params.multi_items() if n != COMMAND_KEY])
    question, form = parse(asked, WhatIfQuestion, zone=page.zone)
    moment = moment_of(page.now, page.zone)
    answer = None
    with page.db.read() as session:
        here = on_panel.of_layer(session, page.actor, uid)
        found = what_if.layer_now(session, page.actor, here, moment)
        if found is None:
            return page.render("what_if/none.html", {"layer": here.layer, "panel": here.panel})
        layer, rows = found
        if question is not None:
            try:
                answer = what_if.work_out(layer, rows, question, moment.zone)
            except Invalid as fault:
                form.add_errors(fault.errors)
    context = {
        "form": form,
        "layer": layer,
        "answer": answer,
        "mediums": list(MEDIUMS),
        "pigments": list(pigment_names.suggestions()),
        "places": [(place.uid, place.name) for place in rows.places.values()],
        "regions": [(str(i), mix.name) for i, mix in enumerate(layer.recipe.mixes)],
        "curves": _curves(answer, page) if answer else (),
    }
    if page.wants_fragment:
        return page.render("what_if/_answer.html", context)
    return page.render("what_if/page.html", context, 422 if form.errors else 200)


def _curves(answer: WhatIfAnswer, page: PageRequest) -> tuple[RegionCurves, ...]:
    """The curves of each mix as tried out, or as it is."""
    laid_at = answer.layer.laid_at.astimezone(timezone.utc)
    age_d = (page.now - laid_at) / timedelta(days=1)
    curves = []
    for name, stages in (answer.tried or answer.now).by_region:
        drawing = chance_drawing(stages, age_d if answer.layer.is_painted else 0.0)
        rows = tuple(
            (instant(laid_at, day), {stage: odds_words(chance) for stage, chance in odds.items()})
            for day, odds in chances(stages, drawing.days)
        )
        curves.append(RegionCurves(name, drawing, rows))
    return tuple(curves)
