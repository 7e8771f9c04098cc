"""Have the search compiled, once for this machine: search processes take it when it is there, and search the plain way
until then."""

from pathlib import Path

from server.planning.schedule import compiled
from server.services.search_pool import SEARCHES


def prepare(data: Path, processes: int) -> None:
    """Say what searches run with, and compile them in the background. No search process is started by this."""
    SEARCHES.set_up(processes, data)
    compiled.compile_aside(data)
