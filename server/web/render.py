"""Templates to answers: the Jinja environment, its filters, and what every page's frame shows.

The frame is held in a context variable while a template renders, so that filters and macros know the studio's day and
zone without being handed them.
"""

import json
import re
from collections.abc import Callable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime, timezone, tzinfo
from functools import cache, partial
from pathlib import Path
from typing import Any, Protocol

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template, pass_context
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from server.services.board.facts import DaySpan
from server.services.history import HistoryEntry
from server.services.people.forgetting import NAMELESS
from server.services.people.purging import ELSEWHERE
from server.services.roles import PERMISSIONS, Permission
from server.store.tables import Name
from server.web import forms, plan_words, standing_words, words
from server.web.faults_named import with_names
from server.web.glossary import TERMS
from server.web.history_words import Line, lines_of
from server.web.language import script_texts
from server.web.language.catalogue import ENGLISH, catalogue
from server.web.language.filled import Filled
from server.web.language.sentences import sentences
from server.web.language.template_texts import InLanguage
from server.web.manner import is_metric, manner, typed_in, unit_words
from server.web.navigation import NavigationItem, navigation_at
from server.web.offered import without_what_is_refused
from server.web.static_files import HashedFiles

DONE_COOKIE = "umberday_done"
AS_PUBLISHED = ("how/", "rules/", "cautions/", "parts/")  # the figures of sources stay as they were published
ANCHOR_COOKIE = "umberday_at"  # the part of a page that a form led to
ANCHOR = re.compile(r"[A-Za-z0-9_-]{1,60}")
LIGHT_COOKIE = "umberday_light"  # which light the painter chose for this screen; absent: as the device has it
LIGHTS = ("light", "dark")


@dataclass(frozen=True, slots=True)
class Flash:
    """What was just done, in the painter's words, and the change to take back."""

    text: str
    change_uid: str
    can_undo: bool


class KnowsStudio(Protocol):
    """What the frame asks of the page that is being answered (``deps.PageRequest``)."""

    now: datetime

    @property
    def zone(self) -> tzinfo: ...
    @property
    def studio_name(self) -> str: ...
    @property
    def is_invented(self) -> bool: ...
    @property
    def flash(self) -> Flash | None: ...
    @property
    def is_shared(self) -> bool: ...
    @property
    def has_studio(self) -> bool: ...
    @property
    def person_name(self) -> str: ...
    def may(self, permission: Permission) -> bool: ...
    def changes_of(self, table: str, uid: str) -> list[HistoryEntry]: ...


@dataclass(frozen=True, slots=True)
class RecordHistory:
    """What was changed of a record; ``lines`` tells an entry field by field."""

    entries: tuple[HistoryEntry, ...]
    lines: Callable[[HistoryEntry], list[Line]]


@dataclass(slots=True)
class Frame:
    """What ``base.html`` shows around every page. Without a page (an error before one began) it knows no studio."""

    path: str
    request_id: str
    page: KnowsStudio | None
    is_fragment: bool
    chosen_light: str = ""
    flash_shown: bool = False
    terms_told: int = 0

    @property
    def now(self) -> datetime:
        return self.page.now if self.page else datetime.now(timezone.utc)

    @property
    def zone(self) -> tzinfo:
        return self.page.zone if self.page else timezone.utc

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    @property
    def studio_name(self) -> str:
        return self.page.studio_name if self.page else ""

    @property
    def is_invented(self) -> bool:
        return self.page.is_invented if self.page else False

    @property
    def is_shared(self) -> bool:
        """Whether people sign in here, as far as the page knows."""
        return self.page.is_shared if self.page else False

    @property
    def has_studio(self) -> bool:
        """Whether there is a studio to go about in; an error before a page began offers the way back all the same."""
        return self.page.has_studio if self.page else True

    @property
    def person_name(self) -> str:
        return self.page.person_name if self.page else ""

    def may(self, permission: Permission) -> bool:
        return self.page.may(permission) if self.page else False

    def changes_of(self, table: str, uid: str = "") -> RecordHistory:
        """What was changed of a record, for its page; without ``uid`` of all of its kind."""
        entries = self.page.changes_of(table, uid) if self.page else []
        return RecordHistory(tuple(entries), partial(lines_of, zone=self.zone))

    @property
    def navigation(self) -> list[NavigationItem]:
        return navigation_at(self.path)

    @property
    def flash(self) -> Flash | None:
        """What was just done; showing it once is enough, so that the answer then forgets it."""
        self.flash_shown = True
        return self.page.flash if self.page else None


_frame: ContextVar[Frame] = ContextVar("frame")


def _day(value: date | datetime) -> date:
    return value.astimezone(_frame.get().zone).date() if isinstance(value, datetime) else value


def _span(span: DaySpan) -> str:
    return standing_words.span_words(span, _frame.get().today)


def _span_days(span: DaySpan) -> str:
    return standing_words.span_days(span, _frame.get().today)


def _local(value: datetime) -> datetime:
    return value.astimezone(_frame.get().zone)


def may(permission: Permission) -> bool:
    """Whether whoever asked has a permission in the studio: ``{% if may("paint") %}``, for words that only then make
    sense (links and forms go by themselves, see ``offered.py``). Not in parts that are kept for everybody."""
    if permission not in PERMISSIONS:
        raise KeyError(permission)
    return _frame.get().may(permission)


def term(key: str, shown: str = "") -> Markup:
    """A word of the trade, with its meaning on a tap: ``term("richness")``. Raises KeyError for a word without one."""
    found = TERMS[key]
    frame = _frame.get()
    frame.terms_told += 1
    # A part that is exchanged counts anew: its terms must not meet those of the page around it.
    anchor = f"{'part' if frame.is_fragment else 'term'}-{frame.terms_told}"
    return Markup(
        '<button type="button" class="term" popovertarget="{0}">{1}</button>'
        '<span class="term-told" id="{0}" popover>'
        '<strong>{2}</strong> {3} <a href="/glossary#{4}">{5}</a></span>'
    ).format(anchor, told(shown or found.word), told(found.word), told(found.told), key, told("Glossary"))


def _anew(told: Callable[..., str]) -> Callable[..., str]:
    """A filter that is asked at each rendering: of constants Jinja would keep what the first reader was told."""

    @pass_context
    def asked(_context: object, *given: str) -> str:
        return told(*given)

    return asked


def told(value: object) -> object:
    """Finished words in the language of whoever reads; names, parts of pages and what is no text stay."""
    if not isinstance(value, str) or isinstance(value, Markup | Name):
        return value
    language = manner().language
    spoken = sentences(language)
    if spoken is None:
        return value
    if isinstance(value, Filled):
        return value.told(catalogue(language), told)
    return spoken.told(value)


FILTERS: dict[str, Any] = {
    # {{ panel.due_on | day }}       Thursday, tomorrow, 3 December, 3 January 2027
    "day": lambda value: words.day_words(_day(value), _frame.get().today),
    # {{ sitting.on | far_day }}     as day; beyond two years about October 2031
    "far_day": lambda value: standing_words.far_day_words(_day(value), _frame.get().today),
    # {{ sitting.on | paper_date }}  Thursday 3 December 2026, read on any day; "" beyond two years
    "paper_date": lambda value: standing_words.paper_date(_day(value), _frame.get().today),
    # {{ layer.painted_at | moment }}  Thursday at 14:05
    "moment": lambda value: words.moment_words(_local(value), _frame.get().today),
    "planned_when": lambda value: plan_words.when_words(value, _frame.get().today),
    "broken_words": lambda value: plan_words.broken_words(value, _frame.get().today),
    # {{ span | span_words }}        likely Thursday to Saturday, 8 times in 10, most likely Friday
    "span_words": _span,
    # {{ span | span_days }}         likely Thursday to Saturday
    "span_days": _span_days,
    "even_then": standing_words.even_then_words,  # {{ found | even_then(verdict) }}: what no waiting for it helps
    "ago": lambda value: words.ago_words(_day(value), _frame.get().today),
    "typed_words": words.typed_words,
    "full_date": lambda value: words.full_date(_day(value)),
    "clock": lambda value: words.clock(_local(value)),
    "iso": lambda value: value.isoformat(),
    "figure": words.figure,
    "ml": words.ml_words,
    "rough_ml": words.rough_ml_words,  # {{ tube.left_ml | rough_ml }}   8.5 ml: known to about a tenth
    # {{ layer.wet_um | in_unit("µm", 3) }}   50 µm, 2 mil; also of cm, cm² and °C
    "in_unit": words.quantity,
    "unit": _anew(unit_words),  # {{ "µm wet" | unit }}: the label at a field
    "typed_in": _anew(typed_in),  # {{ "20" | typed_in("°C") }}: a default as it would be typed
    "dated": lambda value: words.dated(_day(value)),
    "days": words.days_words,
    "days_range": words.days_range_words,
    "pct": words.pct_words,
    "count": words.count_words,
    "join_words": words.join_words,
    "capital": words.capital,  # of a word or a sentence the first letter
    "late": plan_words.late_words,  # {{ panel.late_d | late(with_odds) }}   3 days after its date
    "label": plan_words.label_words,  # {{ change.label | label }}: the history's words for what was done
    "told": told,
    "person": lambda name: told(name) if name in (NAMELESS, ELSEWHERE) else name,  # {{ change.actor | person }}
}


@cache
def _words_of_scripts(static_dir: Path, language: str) -> str:
    """What the scripts say, in the language, as JSON; nothing where they say it in English already."""
    messages = catalogue(language)
    said = {message: messages[message] for _, message in script_texts.texts(static_dir) if message in messages}
    return json.dumps(said, ensure_ascii=False) if said else ""


def _translated(language: str) -> Callable[[str], str] | None:
    messages = catalogue(language)
    return (lambda message: messages.get(message, message)) if messages else None


@cache
def environment(templates_dir: Path, files: HashedFiles, language: str = ENGLISH) -> Environment:
    """The templates of a folder in a language, compiled once in a process however many apps it makes."""
    env = Environment(
        extensions=[InLanguage],
        loader=FileSystemLoader(templates_dir),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    env.extend(translate=_translated(language))
    env.filters.update(FILTERS)
    env.globals.update(
        _=str,
        words_of_scripts=lambda: _words_of_scripts(files.folder, language),
        panel_size=words.size_words,
        ten_words=words.ten_words,
        manner=manner,
        static=files.url,
        new_key=forms.new_key,
        FormState=forms.FormState,
        Markup=Markup,
        filled=Filled,
        term=term,
        may=may,
    )
    return env


class Templates:
    """The templates, each in the language of whoever reads."""

    def __init__(self, templates_dir: Path, files: HashedFiles) -> None:
        self._where = (templates_dir, files)

    def get_template(self, name: str) -> Template:
        return environment(*self._where, manner().language).get_template(name)


def wants_fragment(request: Request) -> bool:
    """Whether htmx asks for a part of a page. A boosted link or a restored history entry wants the whole."""
    headers = request.headers
    return headers.get("HX-Request") == "true" and headers.get("HX-Request-Type") != "full" and not _whole(headers)


def _whole(headers: Mapping[str, str]) -> bool:
    return headers.get("HX-Boosted") == "true" or headers.get("HX-History-Restore-Request") == "true"


def chosen_light(request: Request) -> str:
    """light, dark, or nothing: sent with the page, so that it never first appears in the other one."""
    chosen = request.cookies.get(LIGHT_COOKIE, "")
    return chosen if chosen in LIGHTS else ""


def render(
    request: Request,
    template: str,
    context: Any = None,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """The answer ``template`` gives with ``context``: a mapping, or a dataclass whose fields become names.

    ``frame`` (this module's ``Frame``) is always there.
    """
    frame = Frame(
        path=request.url.path,
        request_id=getattr(request.state, "request_id", ""),
        page=getattr(request.state, "page", None),
        is_fragment=wants_fragment(request),
        chosen_light=chosen_light(request),
    )
    token = _frame.set(frame)
    try:
        templates: Templates = request.app.state.templates
        text = with_names(templates.get_template(template).render(**_names(context), frame=frame))
        text = text if is_metric() or template.startswith(AS_PUBLISHED) else words.told(text)
        if frame.is_shared and frame.has_studio:
            text = without_what_is_refused(text, frame.path, frame.may)
    finally:
        _frame.reset(token)
    response = HTMLResponse(text, status_code=status, headers=dict(headers or {}))
    response.headers.setdefault("Cache-Control", "private, no-cache")
    response.headers.append("Vary", "HX-Request, HX-Request-Type, Cookie, Accept-Language")
    _lead_to_anchor(request, response)
    if frame.flash_shown and DONE_COOKIE in request.cookies:
        response.delete_cookie(DONE_COOKIE, httponly=True, samesite="strict")
    return response


def _lead_to_anchor(request: Request, response: Response) -> None:
    """Let htmx write the part of the page into the address that a form led to: a redirect that is followed loses it."""
    anchor = request.cookies.get(ANCHOR_COOKIE)
    if anchor is None:
        return
    if request.headers.get("HX-Request") == "true" and ANCHOR.fullmatch(anchor):
        question = f"?{request.url.query}" if request.url.query else ""
        response.headers["HX-Push-Url"] = f"{request.url.path}{question}#{anchor}"
    response.delete_cookie(ANCHOR_COOKIE, httponly=True, samesite="strict")


def _names(context: Any) -> dict[str, Any]:
    if context is None:
        return {}
    if is_dataclass(context):
        return {f.name: getattr(context, f.name) for f in fields(context)}
    return dict(context)


def see_other(location: str, done: str | None = None) -> Response:
    """After a successful POST: go and read ``location``; ``done`` (the change's uid) is told there, with its undo."""
    response = RedirectResponse(location, status_code=303)
    if done:
        response.set_cookie(DONE_COOKIE, done, max_age=60, httponly=True, samesite="strict")
    anchor = location.partition("#")[2]
    if ANCHOR.fullmatch(anchor):
        response.set_cookie(ANCHOR_COOKIE, anchor, max_age=60, httponly=True, samesite="strict")
    return response
