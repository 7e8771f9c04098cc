"""A script's whole day by its token alone: from an empty studio to a plan in use, a link for a buyer, a calendar.

It never opens a page and carries no cookie; whoever has no token gets nothing.
"""

from fastapi import FastAPI

from tests.web.people.conftest import Enter, browser
from tests.web.people.test_api_tokens import carrying, make
from tests.web.test_api_plans import API, Program, make_studio


def path_of(address: str) -> str:
    """The path of an address, whatever the test's server is called."""
    return "/" + address.partition("://")[2].partition("/")[2]


def test_a_studio_is_run_by_a_token_alone(app: FastAPI, enter: Enter) -> None:
    client = browser(app)
    client.headers.update(carrying(make(enter("owner"), "owner", label="Walk")))
    ask, nobody = Program(client), browser(app)
    assert nobody.get(f"{API}/panels").status_code == 401
    ask.done("/shelf/starter")
    studio = make_studio(ask)
    first, second = studio.layers
    version = ask.get(f"/layers/{first}")["version"]
    ask.done(f"/layers/{first}/paint", {"painted_at": "2026-11-24T10:00:00Z"}, version=version)
    ask.done(f"/layers/{first}/touch-tests", {"stage": "tacky"})
    ask.done("/working-hours", ask.example("WorkingHoursCreate"))
    plan = ask.done("/plans", ask.example("PlanMake"), key="morning")
    ask.done(f"/plans/{plan['uid']}/accept")
    [sitting] = ask.get("/plans")["items"][0]["sittings"]
    assert sitting["layer_uid"] == second

    link = ask.done("/share-links", {"label": "Buyer", "scope": "panel", "panel_uids": [studio.panel]})
    assert "Quince" in nobody.get(path_of(link["address"])).text
    feed = ask.done("/share-links", {"label": "Telephone", "kind": "feed"})
    own = ask.done("/own-feeds", ask.example("OwnFeedCreate"))
    for made in (feed, own):
        calendar = nobody.get(path_of(made["address"]))
        assert calendar.headers["content-type"].startswith("text/calendar")
        assert "Quince: second" in calendar.text.replace("\r\n ", "")
    ask.done(f"/share-links/{link['link']['uid']}/revoke")
    assert nobody.get(path_of(link["address"])).status_code == 404

    entry = ask.get("/history")["items"][0]
    assert entry["actor"].endswith("(Walk)")
    assert ask.done(f"/history/{entry['uid']}/undo")["is_undone"] is True
    assert nobody.get(path_of(link["address"])).status_code == 200
    assert client.get("/").status_code == 303
    assert not client.cookies
