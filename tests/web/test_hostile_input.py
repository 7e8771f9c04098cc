"""Every field of every form that the pages show, with what nobody should type: never a fault of ours, the message at
its field, what was typed still there, and nothing of it run as markup.

The forms are read off the pages of a studio that has one of everything, so a new form or field is attacked as well.
"""

import re
from html import escape
from itertools import count

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import Easel, Form, form_to, forms_of, make_easel, post_typed

SCRIPT = "\"'><script>alert(1)</script><img src=x onerror=alert(2)>"
NUMBERS = ("-1", "0", "1e308", "NaN", "1e400", "5000000", "9" * 400, "²", "1,2,3", "0.000000000000000000000001")
DATES = ("0001-01-01", "9999-12-31", "2026-02-30", "2099-01-01T00:00", "1500-01-01T00:00", "2026-11-25T09:03", "soon")
NAMES = ("paint:x", "PX99", "../../etc/passwd", "no-such-record-0", "posixrules", "{{ 7 * 7 }}")
TEXTS = ("", " ", SCRIPT, "'; drop table panel; --", "\u200b", "\u0958" * 120, "\U0001f3a8" * 200, "a" * 9000)
UNSEEN = ("a\x00b", "\x1b[31m", "\u202eturned", "\ud800", "a\x85b", "line\u2028line")
EVERYTHING = (*NUMBERS, *DATES, *NAMES, *TEXTS, *UNSEEN)
EACH = 2  # of them for one field alone; the next field goes on where it stopped
AROUND = {"", "command_key", "version", "next"}


def furnish(easel: Easel) -> list[str]:
    """One of everything, and the addresses of all pages."""
    client = easel.client
    panel = easel.panel()
    layer = easel.painted(panel, "2026-11-20T10:00")
    test = easel.test(layer, pressed_at="2026-11-21T10:00")
    planned = easel.layer(panel, kind="glaze")
    step, nail = finish(easel, panel)
    for kind in ("mediums", "thinners"):
        form = form_to(client.get(f"/shelf/{kind}/new"), f"/shelf/{kind}/new")
        assert client.post(form.action, data=sound(form)).status_code == 303
    shelf = client.get("/shelf").text
    things = sorted(set(re.findall(r'"(/shelf/\w+/[\w-]+/edit)"', shelf)))
    assert {address.split("/")[2] for address in things} == {"paints", "mediums", "thinners"}
    return [
        *(
            "/",
            "/panels",
            "/panels/new",
            panel,
            f"{panel}/edit",
            f"{panel}/layers/new",
            f"{panel}/layers/new?painted=1",
        ),
        *(f"{planned}/edit", f"{planned}/paint", f"{layer}/edit", f"{layer}/tests", f"{test}/edit"),
        *(f"{panel}/finish", f"{panel}/finish/steps", f"{panel}/finish/steps?done=1", f"{panel}/finish/tests"),
        *(f"{step}/do", f"{step}/edit", f"{nail}/edit", "/sittings", "/sittings/end"),
        *(
            "/mixes",
            "/mixes/new",
            f"/mixes/{easel.white}",
            f"/mixes/{easel.white}/edit",
            "/mixing",
            "/stacks",
            "/stacks/new",
            "/plan",
        ),
        *("/shelf", *things, "/shelf/paints/new", "/shelf/mediums/new", "/shelf/thinners/new"),
        *(
            "/room",
            "/room/new",
            f"/room/{easel.place}/edit",
            "/studio",
            "/history",
            "/calendar",
            "/calendar?view=agenda",
        ),
    ]


def finish(easel: Easel, panel: str) -> tuple[str, str]:
    """A step of the finish and a test of the picture, by their addresses."""
    form = form_to(easel.client.get(f"{panel}/finish/steps"), f"{panel}/finish/steps")
    assert easel.client.post(form.action, data=form.values).status_code == 303
    form = form_to(easel.client.get(f"{panel}/finish/tests"), f"{panel}/finish/tests")
    assert easel.client.post(form.action, data=form.filled(method="nail", result="dent")).status_code == 303
    page = easel.client.get(f"{panel}/finish").text
    return re.findall(r'"(/finish/[\w-]+)/edit"', page)[0], re.findall(r'"(/finish-tests/[\w-]+)/edit"', page)[0]


def sound(form: Form) -> dict[str, str]:
    """The form with something in every field that must be filled in."""
    usual = {"label": "Thing", "title": "Panel", "name": "Place", "width_cm": "30", "height_cm": "40"}
    usual |= {"temperature_c": "20", "relative_humidity_pct": "50", "pigments-0-pigment": "PW6", "parts-0-parts": "2"}
    values = form.values
    for name, choices in form.options.items():
        if name in {
            "parts-0-item",
            "parts-0-material",
            "mixes-0-mix_uid",
            "stage",
            "light",
            "solvent",
            "method",
            "result",
            "rags",
        } and not values.get(name):
            values[name] = next(choice for choice in choices if choice)
    return values | {name: text for name, text in usual.items() if name in values and not values[name]}


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def distinct_forms(easel: Easel, addresses: list[str]) -> list[tuple[str, Form]]:
    """Each form that changes something, once, with the page that shows it."""
    found: dict[str, tuple[str, Form]] = {}
    for address in addresses:
        for form in forms_of(easel.client.get(address)):
            shape = re.sub(r"/[\w-]{16}(?=/|$)", "/*", form.action)
            if "command_key" in form.values and set(form.values) - AROUND:
                found.setdefault(shape, (address, form))
    assert len(found) >= 17, sorted(found)
    return list(found.values())


def check_answer(text: str, status: int, name: str, typed: str) -> None:
    assert status in {200, 303, 409, 422}, (name, typed[:40])
    for mark in ("<script>alert", "<img src=x", "\x00", "Traceback"):
        assert mark not in text, (name, typed[:40])
    if status not in {409, 422}:
        return
    # A fault, or the question whether an unusual touch test is meant.
    assert 'class="faults"' in text or 'role="alert"' in text, (name, typed[:40])
    if re.search(rf'<(select|input type="(hidden|radio)")[^>]* name="{re.escape(name)}"', text):
        return
    is_shown = typed.isprintable() and typed.isascii() and typed.strip() == typed != ""
    if is_shown and name not in AROUND:
        assert str(escape(typed)).replace("&#x27;", "&#39;").replace("&quot;", "&#34;") in text, (name, typed[:40])


def test_every_field_of_every_form_takes_anything(easel: Easel):
    turn = count()
    for address, form in distinct_forms(easel, furnish(easel)):
        base, action = sound(form), form.action
        free = [n for n in dict.fromkeys([*base, *form.options]) if not re.match(r"months-([2-9]|1\d)-", n)]
        for name in free:
            for _ in range(EACH):
                typed = EVERYTHING[next(turn) % len(EVERYTHING)]
                answer = post_typed(easel.client, action, base | {name: typed})
                check_answer(answer.text, answer.status_code, "" if name in form.options else name, typed)
        for typed in (SCRIPT, "1e400\x00"):
            sent = dict.fromkeys(base, typed) | {"command_key": "abcdefgh"}
            answer = post_typed(easel.client, action, sent)
            check_answer(answer.text, answer.status_code, "", typed)
            assert answer.status_code in {409, 422}, (address, action, typed[:9])


def test_fields_missing_repeated_strange_and_far_away(easel: Easel):
    flooded: set[str] = set()
    for _, form in distinct_forms(easel, furnish(easel)):
        base = {name: text for name, text in sound(form).items() if not re.match(r"months-([2-9]|1\d)-", name)}
        rows = sorted({name.partition("-")[0] for name in base if "-" in name})
        strange = {"owner_id": "1", "-": "x", "": "x"}
        strange |= {f"{row}-{number}-x": "x" for row in rows for number in (-1, 9999, 999999, "²")}
        tries = [{name: value for name, value in base.items() if name != gone} for gone in base][1::3]
        tries += [base | strange, {}, dict.fromkeys(base, "")]
        if rows and rows[0] not in flooded:
            flooded.add(rows[0])
            tries += [base | {f"{row}-{number}-x": "1" for row in rows for number in range(250)}]
            tries += [base | {"_add": text} for text in (rows[0], "<script>alert(1)\x00")]
            tries += [base | {"_remove": text} for text in (f"{rows[0]}-0", "parts-99999999<script>alert(1)")]
        for sent in tries:
            answer = post_typed(easel.client, form.action, {n: [v, v] if n == "notes" else v for n, v in sent.items()})
            assert answer.status_code in {200, 303, 409, 422}
            assert "<script>alert" not in answer.text


def test_markup_in_every_text_stays_text_on_every_page(easel: Easel):
    client = easel.client
    mix = easel.send(
        "/mixes/new", label=SCRIPT, notes=SCRIPT, **{"parts-0-item": first_paint(easel), "parts-0-parts": "1"}
    )
    panel = easel.panel(title=SCRIPT, notes=SCRIPT, due_on="2026-12-24", due_for=SCRIPT)
    texts = {"_own_kind": SCRIPT[:30], "notes": SCRIPT, "mixes-0-region": SCRIPT}
    mixed = {"mixes-0-mix_uid": mix.headers["location"].rpartition("/")[2]}
    layer = easel.painted(panel, "2026-11-20T10:00", **texts, **mixed)
    easel.test(layer, place_on_panel=SCRIPT, note=SCRIPT)
    easel.layer(panel, **texts, **mixed)
    room = easel.send("/room/new", name=SCRIPT, notes=SCRIPT, temperature_c=20, relative_humidity_pct=50, light="room")
    tube = easel.send("/shelf/paints/new", label=SCRIPT, notes=SCRIPT, **{"pigments-0-pigment": "PW6"})
    studio = easel.send("/studio", name=SCRIPT)
    assert {answer.status_code for answer in (mix, room, tube, studio)} == {303}
    pages = [*furnish(easel), panel, f"{panel}?scale=log", layer + "/edit", layer + "/tests", mix.headers["location"]]
    pages += [
        f"/panels?q={SCRIPT}",
        "/calendar?view=month",
        f"/mixing?panel={panel.rpartition('/')[2]}",
        "/?on=2026-12-01",
    ]
    for address in pages:
        text = client.get(address).text
        assert "<script>alert" not in text, address
        assert "<img src=x" not in text, address
        assert "'><" not in text.replace("&#39;&gt;", ""), address
    assert client.post(f"{panel}/archive").status_code == 303
    for address in ("/panels?state=archived", "/history", panel):
        assert "<script>alert" not in client.get(address).text


def first_paint(easel: Easel) -> str:
    return next(
        choice for choice in form_to(easel.client.get("/mixes/new"), "/mixes/new").options["parts-0-item"] if choice
    )


def test_a_text_that_grows_when_it_is_composed_must_still_fit(easel: Easel):
    """U+0958 is two characters in composed form (Unicode's composition exclusions)."""
    answer = easel.send("/panels/new", title="\u0958" * 120, width_cm=30, height_cm=40)
    assert answer.status_code == 422
    assert "Shorten this to 200 characters." in answer.text
    assert easel.send("/panels/new", title="e\u0301" * 200, width_cm=30, height_cm=40).status_code == 303


@pytest.mark.parametrize("month", ["²", "9" * 5000, "0", "13", "-1", "x"])
def test_a_month_that_is_none_is_told(easel: Easel, month: str):
    form = form_to(easel.client.get("/room/new"), "/room/new")
    sent = sound(form) | {"months-3-month": month, "months-3-temperature_c": "20"}
    assert post_typed(easel.client, "/room/new", sent).status_code == 422


@pytest.mark.parametrize("length", ["9" * 5000, "0" * 5000 + "9" * 9])
def test_a_length_of_thousands_of_digits_is_too_long(client: TestClient, length: str):
    assert client.post("/panels/new", content=b"", headers={"Content-Length": length}).status_code == 413


@pytest.mark.parametrize(
    "target", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)"]
)
def test_no_form_leads_to_another_site(easel: Easel, target: str):
    layer = easel.painted(easel.panel(), "2026-11-20T10:00")
    for number in range(2):
        action = forms_of(easel.client.get("/history"))[0].action if number else f"{layer}/tests"
        answer = easel.client.post(action, data={"stage": "wet", "next": target})
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/")
        assert "evil" not in answer.headers["location"]
