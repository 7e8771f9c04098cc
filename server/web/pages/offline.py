"""Without a network: the worker a browser keeps, the list of what waits to be sent, and what makes the app installable.

The worker is ``static/worker.js`` under an address at the root, because a browser lets a worker see only what lies
below it. The server puts the addresses of the files to keep before it, so that a new version is a new worker.
"""

import json

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.web.deps import Page
from server.web.static_files import ASK_AGAIN, HashedFiles

router = APIRouter()

KEPT_FILES = ("umberday.css", "umberday.js", "htmx-4.0.1.min.js", "shapes.svg", "icon.svg")
ICON_SIZES = (192, 512)
WALL_COLOUR = "#dcddd2"
WAITING = "/waiting"


@router.get(WAITING)
def waiting(page: Page) -> Response:
    """What this device keeps until the network is back; the browser fills the list.

    Kept ahead for whoever uses the device: where people sign in it tells nothing of a studio.
    """
    if page.is_shared:
        page.request.state.page = None
    return page.render("offline/waiting.html")


@router.get("/worker.js", include_in_schema=False)
def worker(request: Request) -> Response:
    files: HashedFiles = request.app.state.static_files
    kept = json.dumps([WAITING, *(files.url(name) for name in KEPT_FILES)])
    code = (files.folder / "worker.js").read_text(encoding="utf-8")
    version = files.hash("worker.js")
    text = f'const FILES = {kept};\nconst VERSION = "{version}";\n{code}'
    return Response(text, media_type="text/javascript", headers={"Cache-Control": ASK_AGAIN})


@router.get("/manifest.webmanifest", include_in_schema=False)
def manifest(request: Request) -> Response:
    """What an installed app is called and looks like (W3C Web Application Manifest)."""
    files: HashedFiles = request.app.state.static_files
    icons = [
        {
            "src": files.url(f"icon-{size}.png"),
            "sizes": f"{size}x{size}",
            "type": "image/png",
            "purpose": "any maskable",
        }
        for size in ICON_SIZES
    ]
    told = {
        "id": "/",
        "name": "Umberday",
        "short_name": "Umberday",
        "description": "Which panel takes its next layer today, what to mix, and what is dry by its date.",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": WALL_COLOUR,
        "theme_color": WALL_COLOUR,
        "icons": icons,
    }
    return Response(json.dumps(told), media_type="application/manifest+json", headers={"Cache-Control": ASK_AGAIN})
