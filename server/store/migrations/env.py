"""Run by Alembic. The connection comes from ``server.store.migrate``, or from ``-x url=...`` on Alembic's command line."""

from typing import Any, Literal

from alembic import context
from sqlalchemy import Connection
from sqlmodel.sql.sqltypes import AutoString

from server.store import tables
from server.store.db import WRITES, database_url, make_engine, make_folder


def plain_type(kind: str, item: Any, _autogenerate: Any) -> str | Literal[False]:
    """Write our own column types as the plain ones they stand on, so that an old migration never changes with them."""
    if kind == "type" and isinstance(item, tables.UtcDateTime):
        return "sa.DateTime(timezone=True)"
    if kind == "type" and isinstance(item, AutoString | tables.Named):
        return f"sa.String(length={item.length})"
    return False


def run(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=tables.Table.metadata,
        render_as_batch=True,
        compare_type=True,
        transactional_ddl=True,  # SQLite can, once BEGIN is ours
        render_item=plain_type,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    url = context.get_x_argument(as_dictionary=True)["url"]
    parsed = database_url(url)
    make_folder(parsed)
    engine = make_engine(parsed, enforce_foreign_keys=False)
    with engine.execution_options(**{WRITES: True}).begin() as opened:
        run(opened)
    engine.dispose()
