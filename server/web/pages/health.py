"""Whether the server and its database answer."""

from typing import Annotated

from fastapi import APIRouter, Depends
from sqlalchemy import text
from starlette.responses import JSONResponse, Response

from server.store.db import Database
from server.web.deps import get_db

router = APIRouter()


@router.get("/healthz")
def health(db: Annotated[Database, Depends(get_db)]) -> Response:
    with db.read() as session:
        session.connection().execute(text("select 1"))
    return JSONResponse({"status": "ok"}, headers={"Cache-Control": "no-store"})
