"""What a running program searches with: processes, the compiled search as soon as it is there, quiet searches."""

from pathlib import Path

from server.planning.schedule import compiled
from server.services.planning_quiet import QUIET, SECONDS
from server.services.search_pool import SEARCHES


def prepare(data: Path, processes: int) -> None:
    """Say what searches run with, and have them compiled in the background, once for this machine. No search process is
    started by this."""
    SEARCHES.set_up(processes, data)
    QUIET.seconds = SECONDS
    compiled.compile_aside(data)
