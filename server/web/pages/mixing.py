"""Mixing: a mix on the palette, answered at once, over a panel or over nothing in particular, and kept when wanted.

The form is sent by GET, so that an address is a question: it can be gone back to, kept and sent on. Trying out changes
nothing; keeping the mix is a POST of the same form. A way out, or a mix that was found, is an address as well:
following it fills the form.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from server.science.reference import thickness_presets
from server.science.soundness.types import Finding
from server.services import mixes, mixing, panels, places
from server.services.board import moment_of
from server.services.errors import Invalid, NotFound
from server.services.mixes import METAL_WORDS, MixCreate
from server.services.mixing import MixingAnswer, MixingQuestion
from server.services.mixing_find import FoundMix
from server.services.mixing_over import OverPanel
from server.services.mixing_palette import content_of
from server.services.mixing_ways import WayOut
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import COMMAND_KEY, FormState, edited_rows, parse
from server.web.manner import typed_in
from server.web.pages.changes import Done, FormPage, Typed, change_by_form
from server.web.pages.mix_choices import on_shelf
from server.web.standing_words import remedy_words
from server.web.words import quantity

router = APIRouter(prefix="/mixing")
# Fields that lead to a question but are no part of it: a saved mix to start from, a panel by its short name.
LEADS = frozenset({"mix", "panel"})
FRIDAY = 4


@dataclass(frozen=True, slots=True)
class Tried:
    """The form with what came of it; ``answer`` is None until there is something to answer."""

    form: FormState
    answer: MixingAnswer | None
    status: int = 200


@router.get("")
def try_out(page: Page) -> Response:
    """The palette as the address fills it in; for htmx the answer alone."""
    tried = _tried(page, _asked(page))
    if page.wants_fragment:
        # Half-typed parts are no fault worth a mark in the browser's log.
        return page.render(
            "mixing/_live.html", {"form": tried.form, "answer": tried.answer, **_words(page, tried.form)}
        )
    return _palette(page, tried.answer).show(page, tried.form, tried.status)


@router.post("/keep")
def keep(page: Page, posted: Posted) -> Response:
    """Keep what is on the palette as a mix."""
    if again := edited_rows(posted):
        return _palette(page, None).show(page, again)
    command, form = parse(posted, MixingQuestion, zone=page.zone)
    shown = _palette(page, None)
    if not form.value("label").strip():
        form.add_error("label", "Give the mix a name to keep it under.")
    if command is None or form.errors:
        return shown.show(page, form, 422)
    question = command

    def act(session: Session) -> Done:
        content = question.model_dump(include=set(MixCreate.model_fields))
        mix = mixes.create(session, page.actor, MixCreate.model_validate(content))
        return Done(f"Kept the mix “{mix.label}”", f"/mixes/{mix.uid}")

    return change_by_form(page, Typed(posted, form), shown, act)


def _asked(page: PageRequest) -> FormData:
    """The question of the address, with a saved mix or a panel that it names put into their fields."""
    query = page.request.query_params
    hidden = {*LEADS, COMMAND_KEY}
    given: list[tuple[str, str | UploadFile]] = [(n, v) for n, v in query.multi_items() if n not in hidden]
    if panel_uid := query.get("panel"):
        given.append(("panel_uid", panel_uid))
    if mix_uid := query.get("mix"):
        with page.db.read() as session:
            try:
                stored = mixes.public(session, mixes.get(session, page.actor, mix_uid))
            except NotFound:
                return FormData(given)
        values = FormState.of(stored).values
        given += [(n, v) for n, v in values.items() if n not in {"version", "label", "swatch", "notes"}]
    return FormData(given)


def _tried(page: PageRequest, asked: FormData) -> Tried:
    if again := edited_rows(asked):
        return Tried(again, None)
    if not any(name.startswith("parts-") and value for name, value in asked.multi_items()):
        return Tried(FormState(values={n: v for n, v in asked.multi_items() if isinstance(v, str)}), None)
    question, form = parse(asked, MixingQuestion, zone=page.zone)
    if question is None:
        return Tried(form, None, 422)
    try:
        with page.db.read() as session:
            answer = mixing.work_out(session, page.actor, question, moment_of(page.now, page.zone))
            answer = _as_seen(session, page, answer)
    except Invalid as fault:
        form.add_errors(fault.errors)
        return Tried(form, None, 422)
    return Tried(form, answer)


def _as_seen(session: Session, page: PageRequest, answer: MixingAnswer) -> MixingAnswer:
    """A saved mix that was only put on the palette has the colour that the painter sees."""
    query = page.request.query_params
    if "mix" not in query or any(name.startswith("parts-") for name in query):
        return answer
    return replace(answer, swatch=mixes.get(session, page.actor, query["mix"]).swatch or answer.swatch)


def _palette(page: PageRequest, answer: MixingAnswer | None) -> FormPage:
    def context() -> dict[str, Any]:
        with page.db.read() as session:
            return {
                "answer": answer,
                "next_friday": (page.today + timedelta(days=(FRIDAY - page.today.weekday()) % 7 or 7)).isoformat(),
                "items": on_shelf(session, page.actor),
                "metals": list(METAL_WORDS.items()),
                "saved": [(mix.uid, mix.label) for mix in mixes.all_open(session, page.actor)],
                "panels": [(panel.uid, panel.title) for panel in panels.all_open(session, page.actor)],
                "places": [(place.uid, place.name) for place in places.all_open(session, page.actor)],
                "presets": [
                    (row.name, row.label[0].upper() + row.label[1:], f"{quantity(row.wet_thickness_um, 'µm', 3)} wet")
                    for row in thickness_presets()
                ],
            }

    return _Palette("mixing/page.html", context)


class _Palette(FormPage):
    """The page, with the ways out leading to the form as it is shown."""

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        return page.render(self.template, {**self.context(), **_words(page, form), "form": form}, status)


def _words(page: PageRequest, form: FormState) -> dict[str, Any]:
    return {"helps": _helps(page), "filled": partial(_filled, form)}


def _filled(form: FormState, other: WayOut | FoundMix) -> str:
    """The address that fills the form with another mix, all else as it is."""
    kept = {name: value for name, value in form.values.items() if value and not _is_of_the_mix(name)}
    if other.is_thickness:
        kept["wet_thickness_um"] = typed_in(f"{other.wet_um:g}", "µm")
    made = FormState.of(content_of(other.palette)).values
    return f"/mixing?{urlencode({**made, **kept})}"


def _is_of_the_mix(name: str) -> bool:
    return name.startswith(("parts-", "driers-", "_")) or name in {"clove_drops_per_10_ml", "find", "version"}


def _helps(page: PageRequest) -> Callable[[Finding, OverPanel], str]:
    """A finding's remedy in words, with the day that it names."""
    return lambda found, below: remedy_words(found, below, page.today, page.zone)
