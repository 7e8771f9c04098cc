"""A large plan on its page: what is near and what is late at once, the rest by lines that lead to own pages."""

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services.plan_reading import PlannedSitting
from server.store.db import Database
from server.store.tables import Layer, Panel, StudioPlan
from server.web import plan_parts, plan_words
from tests.services.conftest import NOW, Bench, make_bench
from tests.web import large_plan
from tests.web.large_plan import content, fill, moved, propose
from tests.web.test_plan import words

HUNG = 40
EACH = 3
EVERY = HUNG * EACH
OPENED = ("/plan?open=days", "/plan?open=panels", "/plan?then=2027-01&open=then-panels", "/plan?open=nothing&then=x")


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def coats(text: str) -> Counter[str]:
    """How often each sitting is told with its day."""
    days = re.findall(r'<section class="slab">\s*<h3>.*?</section>', text, re.DOTALL)
    return Counter(re.findall(r"</a>: (coat \d+)", "".join(days)))


def lines(text: str) -> dict[str, str]:
    """The lines of a page that open: their words by where they lead."""
    found = re.findall(r'<p class="opens"><a id="[\w-]+" href="([^"]+)" hx-get="\1"[^>]*>(.*?)</a>', text, re.DOTALL)
    return {href: words(told).strip() for href, told in found}


def months(text: str) -> Iterator[str]:
    yield from (href for href in lines(text) if re.search(r"/days/\d", href))


def in_use_of(text: str) -> str:
    return text.partition('id="standing"')[2]


def every_part(client: TestClient, text: str) -> Counter[str]:
    told = coats(text)
    for href in months(text):
        answer = client.get(href)
        assert answer.status_code == 200
        told += coats(answer.text)
    return told


@pytest.mark.parametrize("is_taken", [True, False])
def test_every_sitting_is_told_once_on_the_page_or_on_that_of_its_month(
    bare: Bench, client: TestClient, is_taken: bool
) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=is_taken)
    text = client.get("/plan").text
    last = NOW.date() + plan_parts.NEAR
    near = [s["kind"] for s in sittings if s["start_at"][:10] <= last.isoformat()]
    assert coats(text) == Counter(near) and len(near) < EVERY / 4
    assert every_part(client, text) == Counter(s["kind"] for s in sittings)


def test_the_page_of_a_larger_plan_has_no_more_sittings(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings[: plan_parts.WHOLE + 10]), taken=True)
    some = coats(client.get("/plan").text)
    propose(bare, content(sittings), taken=True)
    assert coats(client.get("/plan").text) == some


def test_a_plan_of_a_usual_studio_is_told_whole(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, plan_parts.WHOLE // EACH, EACH)
    propose(bare, content(sittings), taken=True)
    propose(bare, content(moved(sittings, 1)), taken=False)
    text = client.get("/plan").text
    assert lines(text) == {}
    assert set(coats(text).values()) == {2} and len(coats(text)) == plan_parts.WHOLE
    assert "Agree on another day" in text and "Panel 7</a>: can be delivered" in text


def test_the_next_days_with_sittings_are_told_however_far_off(bare: Bench, client: TestClient) -> None:
    sittings = [s for s in fill(bare, HUNG, EACH) if s["start_at"] > "2026-12-25"]
    propose(bare, content(sittings), taken=True)
    text = client.get("/plan").text
    assert len(coats(text)) == plan_parts.FEW_DAYS * large_plan.A_DAY
    assert every_part(client, text) == Counter(s["kind"] for s in sittings)


def test_a_line_says_which_month_and_how_many(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    told = lines(client.get("/plan").text)
    january = sum(s["start_at"].startswith("2027-01") for s in sittings)
    december = sum("2026-12-09" < s["start_at"][:10] < "2027" for s in sittings)
    assert told["/plan/days/2027-01"] == f"January 2027: {january} sittings"
    assert told["/plan/days/2026-12"] == f"The rest of December 2026: {december} sittings"


def test_a_months_line_says_what_of_it_holds_no_more(bare: Bench, client: TestClient) -> None:
    propose(bare, content(fill(bare, HUNG, EACH)), taken=True)
    away = {"painter": "Mornings", "on_date": "2027-01-12", "weekdays": "", "rule": "", "start": "", "end": ""}
    assert client.post("/plan/hours", data=away).status_code == 303
    told = lines(client.get("/plan").text)
    assert told["/plan/days/2027-01"].endswith("sittings Outside the hours")
    assert told["/plan/days/2027-02"].endswith("sittings")
    month = words(client.get("/plan/days/2027-01").text)
    assert "The hours of Mornings have no room for it and its mixing." in month


def test_the_page_of_a_month_has_what_the_page_of_the_plan_has_at_a_sitting(bare: Bench, client: TestClient) -> None:
    propose(bare, content(fill(bare, HUNG, EACH)), taken=True)
    text = client.get("/plan/days/2027-01").text
    number = len(coats(text))
    assert "<h1>January 2027</h1>" in text and number > 30
    for what in (">Pin it here<", ">A working day earlier<", ">Later<", "Old or glossy film (R14)", "May slip to"):
        assert text.count(what) == number, what
    assert text.count(">Leave this day free<") == len(re.findall("<h3>", text))


def test_a_pin_leads_back_to_the_sitting_in_its_month(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    plan = propose(bare, content(sittings), taken=True)
    there = next(s for s in sittings if s["start_at"].startswith("2027-01"))["id"]
    form = client.get("/plan/days/2027-01").text.partition(f"/pin/{there}")[2].partition("</form>")[0]
    sent = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    answer = client.post(f"/plan/{plan}/pin/{there}", data=sent)
    assert answer.headers["location"] == f"/plan?month=2027-01#sitting-{there}"
    text = client.get("/plan?month=2027-01").text
    assert f'id="sitting-{there}"' in text and "/plan/days/2027-01" not in lines(text)
    assert every_part(client, text) == Counter(s["kind"] for s in sittings)
    near = client.post(f"/plan/{plan}/pin/{sittings[0]['id']}", data={"pinned": "yes"})
    assert near.headers["location"] == f"/plan#sitting-{sittings[0]['id']}"
    hostile = client.post(f"/plan/{plan}/pin/{there}", data={"pinned": "no", "month": "//elsewhere.example"})
    assert hostile.headers["location"] == f"/plan#sitting-{there}"


@pytest.mark.parametrize("month", ["2031-01", "2027-13", "2027", "January", "0000-00"])
def test_a_month_without_sittings_is_not_there(bare: Bench, client: TestClient, month: str) -> None:
    propose(bare, content(fill(bare, HUNG, EACH)), taken=True)
    answer = client.get(f"/plan/days/{month}")
    assert answer.status_code == 404 and "Nothing is planned in this month." in words(answer.text)


def test_a_month_that_the_plans_page_tells_whole_has_a_page_all_the_same(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    of_month = Counter(s["kind"] for s in sittings if s["start_at"].startswith("2026-11"))
    assert coats(client.get("/plan/days/2026-11").text) == of_month


def test_parts_of_a_plan_that_does_not_wait_are_not_there(bare: Bench, client: TestClient) -> None:
    none_yet = client.get("/plan/days/2027-01")
    assert none_yet.status_code == 404 and "none was made yet" in none_yet.text
    assert all("No plan is in use." in client.get(address).text for address in ("/plan/days", "/plan/panels"))
    sittings = fill(bare, HUNG, EACH)
    taken = propose(bare, content(sittings), taken=True)
    stranger = make_bench(bare.db)
    foreign = propose(stranger, content(fill(stranger)), taken=False)
    before = propose(bare, content(sittings), taken=False)
    propose(bare, content(moved(sittings, 5)), taken=False)
    for part in ("days/2027-01", "panels", "changes", f"panels/{sittings[0]['panel']}"):
        for uid in (taken, before, foreign, "no-such-record-0"):
            answer = client.get(f"/plan/{uid}/{part}")
            assert answer.status_code == 404 and "coat" not in answer.text
            assert "This plan was taken or put away" in words(answer.text)


@pytest.mark.parametrize("is_taken", [True, False])
def test_panels_late_or_at_risk_are_told_at_once_and_those_on_course_by_a_line(
    bare: Bench, client: TestClient, is_taken: bool
) -> None:
    sittings = fill(bare, HUNG, EACH)
    uid = propose(bare, content(sittings), taken=is_taken)
    text = client.get("/plan").text
    base = "/plan" if is_taken else f"/plan/{uid}"
    at_once = set(re.findall(r"(Panel \d+)</a>: can be delivered", text))
    assert "Panel 0" in at_once
    assert at_once == {"Panel 0", "Panel 1"} or is_taken
    assert lines(text)[f"{base}/panels"] == f"{HUNG - len(at_once)} panels on course"
    course = re.findall(r"(Panel \d+)</a>: can be delivered", client.get(f"{base}/panels").text)
    assert sorted([*course, *at_once]) == sorted(f"Panel {number}" for number in range(HUNG))
    if not is_taken:
        told = lines(text)[f"{base}/panels/{sittings[0]['panel']}"]
        helped = client.get(f"{base}/panels/{sittings[0]['panel']}").text
        assert told == "What would help" and "Agree on another day" not in text
        assert "Agree on another day" in helped and f"/plan/{uid}/apply/{sittings[0]['panel']}" in helped
        assert client.get(f"{base}/panels/{sittings[1]['panel']}").status_code == 404


def test_a_late_panel_of_the_plan_in_use_is_reached_from_above(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    text = client.get("/plan").text
    assert f'href="#due-{sittings[0]["panel"]}">Panel 0</a>' in text
    assert f'<li id="due-{sittings[0]["panel"]}">' in text.partition('id="dates"')[2]


def test_of_very_many_late_panels_those_most_after_their_date_are_named_above(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    uids = [s["panel"] for s in sittings[:HUNG]]
    with bare.unit("Gave dates") as work:
        for number, panel in enumerate(p for p in work.session.exec(select(Panel)) if p.uid in uids[:30]):
            panel.due_on = NOW.date() + timedelta(days=number % 3)
    above = in_use_of(client.get("/plan").text).partition('class="hang"')[0]
    named = [int(days) for days in re.findall(r"(\d+) days? after its date", words(above))]
    assert len(named) == 20 and named == sorted(named, reverse=True)
    assert "Late 10 other panels" in words(above) and '<a href="#dates">10 other panels</a>' in above
    with bare.unit("The first sittings were missed") as work:
        row = next(plan for plan in work.session.exec(select(StudioPlan)) if plan.accepted_at is not None)
        told = dict(row.content_json or {})
        missed = {s["id"] for s in sittings[-25:]}
        over = {name: (NOW - timedelta(days=1)).isoformat() for name in ("start_at", "end_at")}
        told["sittings"] = [s | over if s["id"] in missed else s for s in told["sittings"]]
        row.content_json = told
        for layer in work.session.exec(select(Layer)):
            layer.planned_on = (NOW - timedelta(days=1)).date() if layer.uid in missed else layer.planned_on
    page = in_use_of(client.get("/plan").text)
    late = re.findall(r"\d+ days? after its date", words(page.partition('class="hang"')[0]))
    assert late and "Does not hold" in words(client.get("/plan/panels").text)


@pytest.mark.parametrize("is_taken", [True, False])
def test_of_very_many_late_panels_those_most_after_their_date_are_told_at_once(
    bare: Bench, client: TestClient, is_taken: bool
) -> None:
    """And one without a place before them; the others stand, once, behind the line that opens."""
    sittings = fill(bare, HUNG, EACH)
    plan = content(sittings)
    for number, panel in enumerate(plan["panels"][:30]):
        panel["late_d"] = number + 1
        if not is_taken:
            panel["finish_on"] = None if number == 5 else panel["finish_on"]
    uid = propose(bare, plan, taken=is_taken)
    if is_taken:
        with bare.unit("Gave dates") as work:
            for number, row in enumerate(p for p in work.session.exec(select(Panel)) if p.title.startswith("Panel")):
                row.due_on = NOW.date() + timedelta(days=60 - number if number < 30 else 3000)
    text = client.get("/plan").text
    base = "/plan" if is_taken else f"/plan/{uid}"
    entry = r"(Panel \d+)</a>: (?:can be delivered|has a sitting without)"
    at_once, more = re.findall(entry, text), re.findall(entry, client.get(f"{base}/panels").text)
    assert len(at_once) == plan_parts.MOST_LATE
    assert sorted([*at_once, *more]) == sorted(f"Panel {number}" for number in range(HUNG))
    assert lines(text)[f"{base}/panels"].startswith(f"{30 - plan_parts.MOST_LATE} other panels late or at risk, ")
    if not is_taken:
        assert at_once[:3] == ["Panel 5", "Panel 29", "Panel 28"]
    for panel in re.findall(r'href="#(due-[\w-]+)"', text):
        assert f'<li id="{panel}">' in text


def test_of_many_changes_the_first_are_told_and_all_on_their_page(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    uid = propose(bare, content(moved(sittings, 5)), taken=False)
    text = client.get("/plan").text
    assert len(re.findall(r"coat \d+: [^<]+ becomes", text)) == plan_parts.MOST_CHANGES
    whole = client.get(f"/plan/{uid}/changes").text
    number = len(re.findall(r"coat \d+: [^<]+ becomes|coat \d+, [^<]+: was", whole))
    assert number > EVERY - 10
    assert lines(text)[f"/plan/{uid}/changes"] == f"{number - plan_parts.MOST_CHANGES} more changes"


def test_changes_that_take_a_place_away_come_first(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    propose(bare, content(moved(sittings[:-3], 5)), taken=False)
    told = words(client.get("/plan").text)
    assert all(
        f"coat {number}: " in told.partition("Without a place in it:")[2][:400] for number in range(EVERY - 3, EVERY)
    )


def test_what_was_moved_by_hand_is_the_first_change_told_then_what_is_nearest(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    made = moved(sittings, 5)
    made[EVERY - 20]["pinned"] = True
    propose(bare, content(made[: EVERY - 3]), taken=False)
    told = client.get("/plan").text
    numbers = [int(n) for n in re.findall(r"coat (\d+): [^<]+ becomes", told)]
    assert numbers[0] == EVERY - 20 and len(numbers) == plan_parts.MOST_CHANGES - 3
    near = [*range(plan_parts.MOST_CHANGES - 6), EVERY - 5, EVERY - 4]  # the last of all come to the first days
    assert sorted(numbers[1:]) == near
    made = [one | {"pinned": True} for one in made[: EVERY - 25]]
    propose(bare, content(made), taken=False)
    assert len(re.findall(r"coat \d+: [^<]+ becomes", client.get("/plan").text)) == plan_parts.MOST_CHANGES


def test_beside_a_plan_that_waits_the_one_in_use_is_a_line_until_something_is_refused(
    bare: Bench, client: TestClient
) -> None:
    sittings = fill(bare, HUNG, EACH)
    taken = propose(bare, content(sittings), taken=True)
    propose(bare, content(moved(sittings, 5)), taken=False)
    text = client.get("/plan").text
    assert coats(in_use_of(text)) == Counter() and "/plan/days" in lines(text)
    part = client.get("/plan/days").text
    assert 'id="dates"' in part and every_part(client, part) == Counter(s["kind"] for s in sittings)
    refused = client.post(f"/plan/{taken}/pin/no-such-record-0", data={"pinned": "yes"})
    assert refused.status_code == 409
    assert every_part(client, in_use_of(refused.text)) == Counter(s["kind"] for s in sittings)


def test_missed_days_of_long_ago_are_a_line_before_the_others(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    made = content(sittings)
    for one in made["sittings"][:4]:
        one |= {name: one[name].replace("2026-11", "2026-09") for name in ("start_at", "end_at", "may_slip_to")}
    propose(bare, made, taken=True)
    text = client.get("/plan").text
    assert lines(text)["/plan/days/2026-09"] == "September 2026: 4 sittings Missed"
    assert text.index("/plan/days/2026-09") < text.index("<h3>")
    assert every_part(client, text) == Counter(s["kind"] for s in sittings)


def test_what_would_help_opens_in_the_plan_where_it_was_asked_for(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    panel, made = sittings[0]["panel"], content(sittings)
    made["panels"][0] |= {"finish_on": "2027-02-03", "late_d": 61}  # as it stands
    propose(bare, made, taken=True)
    uid = propose(bare, content(moved(sittings, 5)), taken=False)
    text = client.get("/plan?open=days").text
    found = re.findall(rf'<p class="opens"><a id="([\w-]+)" href="(/plan/[^"]*panels/{panel})"', text)
    assert sorted(found) == [
        (f"help-{panel}", f"/plan/panels/{panel}"),
        (f"then-help-{panel}", f"/plan/{uid}/panels/{panel}"),
    ]
    for own, address in found:
        assert f'<summary id="{own}">' in client.get(address).text


def test_on_paper_days_are_told_by_their_dates_and_what_is_left_out_says_so(bare: Bench, client: TestClient) -> None:
    """A sheet on the wall is read on another day than it was printed on."""
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    sheet, text = client.get("/plan/week").text, client.get("/plan").text
    day = '<span class="no-print">Today</span> <span class="paper-only">Wednesday 25 November 2026</span>'
    assert f"{day}</h2>" in sheet and f"<h3>{day}</h3>" in text
    left_out = re.findall(r'</a> <span class="paper-only">\(not printed here\)</span></p>', text)
    assert len(left_out) == len(lines(text)) > 2
    far = content(sittings[:2])
    for name in ("start_at", "end_at", "may_slip_to"):
        far["sittings"][0][name] = far["sittings"][0][name].replace("2026", "2031")
    propose(bare, far, taken=True)
    assert "<h3>About November 2031</h3>" in client.get("/plan").text


def test_no_id_stands_twice_and_headings_leave_no_rank_out(bare: Bench, client: TestClient) -> None:
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    uid = propose(bare, content(moved(sittings, 5)), taken=False)
    there = ("/plan/days", "/plan/days/2027-01", "/plan/panels", *(f"/plan/{uid}/{p}" for p in ("panels", "changes")))
    for address in ("/plan", "/plan?month=2027-01", *OPENED, f"/plan/{uid}/days/2027-01", *there):
        text = client.get(address).text
        ids = Counter(re.findall(r'\sid="([^"]+)"', text))
        assert max(ids.values()) == 1, ids.most_common(3)
        ranks = [int(rank) for rank in re.findall(r"<h(\d)", text)]
        assert ranks[0] == 1 and all(b <= a + 1 for a, b in pairwise(ranks)), (address, ranks)


def test_a_far_plan_tells_its_words_only_where_they_are_shown(
    bare: Bench, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    propose(bare, content(fill(bare, HUNG, EACH)), taken=True)
    asked: list[str] = []
    words_of = plan_words.why_words

    def noted(sitting: PlannedSitting, today: date) -> str:
        asked.append(sitting.uid)
        return words_of(sitting, today)

    monkeypatch.setattr(plan_words, "why_words", noted)
    number = len(coats(client.get("/plan").text))
    assert len(asked) == number < EVERY / 4
