"""A shelf and a panel to try the pages of records on, and a reader that fills their forms in as a browser does."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urlencode

from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.services import mixes, paints, places, studios
from server.services.access import Actor
from server.services.unit import unit
from server.store.db import Database

NOBODY = "no-such-uid-at-all"


@dataclass
class Form:
    """One form of a page: where it is sent, and what it would send untouched (fields in their order)."""

    action: str = ""
    fields: list[tuple[str, str]] = field(default_factory=list)
    options: dict[str, list[str]] = field(default_factory=dict)

    @property
    def values(self) -> dict[str, str]:
        return dict(self.fields)

    def filled(self, **values: Any) -> dict[str, str]:
        """What it sends with these values; a name's underscores after a row's number stand for the dash."""
        return self.values | {name: str(value) for name, value in values.items()}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.form: Form | None = None
        self.select = self.area = ""
        self.text = ""
        self.first_option: str | None = None
        self.chosen: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.form = Form(given.get("action", ""))
            self.forms.append(self.form)
        elif self.form is None or not (given.get("name") or tag == "option"):
            return
        elif tag == "input":
            if given.get("type") not in {"radio", "checkbox"} or "checked" in given:
                self.form.fields.append((given["name"], given.get("value", "on")))
            elif given.get("type") == "radio":
                self.form.options.setdefault(given["name"], []).append(given.get("value", ""))
        elif tag == "textarea":
            self.area, self.text = given["name"], ""
        elif tag == "select":
            self.select, self.first_option, self.chosen = given["name"], None, None
        elif tag == "option" and self.select:
            value = given.get("value", "")
            self.form.options.setdefault(self.select, []).append(value)
            self.first_option = value if self.first_option is None else self.first_option
            self.chosen = value if "selected" in given else self.chosen

    def handle_data(self, data: str) -> None:
        if self.area:
            self.text += data

    def handle_endtag(self, tag: str) -> None:
        if self.form is None:
            return
        if tag == "textarea":
            self.form.fields.append((self.area, self.text.removeprefix("\n")))
            self.area = ""
        elif tag == "select":
            chosen = self.chosen if self.chosen is not None else self.first_option
            self.form.fields.append((self.select, chosen or ""))
            self.select = ""
        elif tag == "form":
            self.form = None


def forms_of(page: Response) -> list[Form]:
    reader = _Reader()
    reader.feed(page.text)
    return reader.forms


def post_typed(client: TestClient, action: str, values: Mapping[str, str | list[str]]) -> Response:
    """Send a form as a browser encodes it, with any text there is, halves of characters too (the client's own way of
    sending bytes would send how Python writes them)."""
    pairs = [(name, text) for name, given in values.items() for text in (given if isinstance(given, list) else [given])]
    content = urlencode(pairs, errors="surrogatepass")
    return client.post(action, content=content, headers={"Content-Type": "application/x-www-form-urlencoded"})


def form_to(page: Response, action: str) -> Form:
    """The page's first form that is sent to ``action``."""
    found = [form for form in forms_of(page) if form.action == action]
    assert found, f"no form to {action}; there are {[form.action for form in forms_of(page)]}"
    return found[0]


@dataclass
class Easel:
    """A studio with two mixes and a place, and short ways to make records through the pages."""

    client: TestClient
    app: FastAPI
    db: Database
    actor: Actor
    place: str
    white: str
    black: str

    def grey(self) -> str:
        """A mix of 95 parts of white and 5 of black, by its uid."""
        with unit(self.db, self.actor, label="Mixed a grey") as work:
            tubes = {paint.label: paint.uid for paint in paints.all_open(work.session, self.actor)}
            parts = [{"item": f"paint:{tubes['White']}", "parts": 95}, {"item": f"paint:{tubes['Black']}", "parts": 5}]
            command = mixes.MixCreate.model_validate({"label": "First grey", "parts": parts})
            return mixes.create(work.session, self.actor, command).uid

    def send(self, action: str, start: str | None = None, **values: Any) -> Response:
        """Open the page of a form and send the form to ``action`` with these values changed."""
        form = form_to(self.client.get(start or action), action)
        return self.client.post(action, data=form.filled(**values))

    def panel(self, **values: Any) -> str:
        """The address of a new panel."""
        given = {"title": "Two pears", "width_cm": "40.5", "height_cm": "50"} | values
        answer = self.send("/panels/new", **given)
        assert answer.status_code == 303, answer.text
        return answer.headers["location"]

    def layer(self, panel: str, **values: Any) -> str:
        """The address of a new planned layer, with white all over, or painted where ``painted_at`` is given."""
        action = f"{panel}/layers/new" + ("?painted=1" if "painted_at" in values else "")
        answer = self.send(action, **({"mixes-0-mix_uid": self.white} | values))
        assert answer.status_code == 303, answer.text
        return f"/layers/{answer.headers['location'].rpartition('#layer-')[2]}"

    def painted(self, panel: str, at: str, **values: Any) -> str:
        return self.layer(panel, painted_at=at, **values)

    def test(self, layer: str, **values: Any) -> str:
        """The address of a new touch test."""
        answer = self.send(f"{layer}/tests", **({"stage": "tacky"} | values))
        assert answer.status_code == 303, answer.text
        page = self.client.get(f"{layer}/tests")
        [edit] = {form.action.removesuffix("/mistaken") for form in forms_of(page) if form.action.endswith("mistaken")}
        return edit


def make_easel(client: TestClient, app: FastAPI, db: Database, zone: str = "UTC") -> Easel:
    with db.write() as session:
        studio = studios.the_studio(session)
        studio.time_zone = zone
        actor = Actor("painter", studio.id or 0)
    with unit(db, actor, label="Filled the shelf") as work:
        session = work.session
        place = places.all_open(session, actor)[0].uid
        uids = [_mix(session, actor, *tube) for tube in (("White", "PW6"), ("Black", "PBk9"))]
    return Easel(client, app, db, actor, place, *uids)


def _mix(session: Any, actor: Actor, label: str, pigment: str) -> str:
    tube = paints.create(
        session, actor, paints.PaintCreate.model_validate({"label": label, "pigments": [{"pigment": pigment}]})
    )
    part = {"item": f"paint:{tube.uid}", "parts": 1}
    return mixes.create(session, actor, mixes.MixCreate.model_validate({"label": label, "parts": [part]})).uid
