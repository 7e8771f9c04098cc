"""The search compiled by numba, kept in a folder so that it is compiled once.

The functions of ``MODULES`` stay plain Python; here copies of them that call each other are compiled. The folder's name
holds a checksum of their sources and the versions, so an old compilation is never loaded.
"""

import hashlib
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, fields
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

from server.planning.schedule import columns, groups, insert, kernel, looking, meetings, moves, orders

MODULES: tuple[ModuleType, ...] = (kernel, insert, moves, orders, groups, meetings, looking)
ROOT = Path(__file__).parents[3]
LOCK_S = 600  # a compilation that takes longer has died
BARE = Path(__file__).with_name("bare.py")  # imported only where numba is
# Nothing allocates, so nothing need be counted; threads run on.
HOW: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True, "_nrt": False}
DONE = "compiled"  # a file that says that the folder is whole


@dataclass(frozen=True, slots=True)
class Search:
    """The ways into the search, all of one compilation."""

    improve: Callable[..., int]
    reorder: Callable[..., int]
    group_up: Callable[..., bool]
    regroup: Callable[..., int]
    put_in: Callable[..., bool]
    add: Callable[..., None]
    take: Callable[..., None]
    recount: Callable[..., None]
    stand: Callable[..., None]
    fits: Callable[..., bool]
    look_back: Callable[..., bool]
    last_free: Callable[..., int]
    is_compiled: bool


WAYS = tuple(field.name for field in fields(Search) if field.name != "is_compiled")


@dataclass(frozen=True, slots=True)
class Way:
    """A way into the compiled search, which wants the addresses of the columns."""

    compiled: Any

    def __call__(self, c: columns.Arrays, *rest: Any) -> Any:
        return self.compiled(*c.addresses, *rest)


def _functions(*modules: ModuleType) -> dict[str, FunctionType]:
    """Every function of some modules by name."""
    return {
        name: value
        for module in modules
        for name, value in vars(module).items()
        if isinstance(value, FunctionType) and value.__module__ == module.__name__
    }


PLAIN = Search(**{name: _functions(*MODULES)[name] for name in WAYS}, is_compiled=False)


@cache
def key() -> str:
    """What a compilation depends on."""
    digest = hashlib.sha256(f"{sys.version} {sys.platform}".encode())
    spec = find_spec("numba")
    for path in (*(Path(str(module.__file__)) for module in (columns, *MODULES)), BARE):
        digest.update(path.read_bytes())
    if spec is not None and spec.origin is not None:
        digest.update(spec.origin.encode())
        digest.update(str(Path(spec.origin).stat().st_mtime_ns).encode())
    return digest.hexdigest()[:16]


def folder(data: Path) -> Path:
    """Where the compilation is kept below the data directory."""
    return data / "compiled" / key()


def is_available() -> bool:
    """Whether there is a compiler at all."""
    return find_spec("numba") is not None


def is_ready(data: Path) -> bool:
    """Whether the search was compiled here before, so that it loads within a moment."""
    return is_available() and (folder(data) / DONE).exists()


@cache
def load(data: Path) -> Search:
    """The compiled search, from the folder where it is there; otherwise it is compiled when first called."""
    import numba
    from numba.core import config

    from server.planning.schedule import bare

    kept = folder(data)
    kept.mkdir(parents=True, exist_ok=True)
    config.CACHE_DIR = str(kept)  # type: ignore[attr-defined]
    around: dict[str, Any] = {}
    for module in (*MODULES, bare):
        around |= vars(module)
    for name, function in _functions(*MODULES, bare).items():
        copy = FunctionType(function.__code__, around, name)
        copy.__qualname__ = name
        copy.__module__ = function.__module__
        around[name] = numba.njit(**HOW)(copy)  # the copies call each other
    return Search(**{name: Way(around[f"{name}_at"]) for name in WAYS}, is_compiled=True)


def mark_ready(data: Path) -> None:
    """Note that the folder holds all of the compilation."""
    (folder(data) / DONE).write_text(key(), encoding="utf-8")


_chosen: list[Search] = [PLAIN]


def current() -> Search:
    """The search of this process: plain until `choose` found the compiled one."""
    return _chosen[0]


def choose(data: Path) -> Search:
    """Take the compiled search where the folder holds it whole; never compiles."""
    if is_ready(data) and not current().is_compiled:
        _chosen[0] = load(data)
    return current()


def compile_aside(data: Path) -> None:
    """Compile in a process of its own, which goes on when this one ends. One at a time; a lock file says so.

    Where nothing can be kept (a folder that is not to be written to, a full disk), plans are made the plain way.
    """
    if not is_available() or is_ready(data):
        return
    kept = folder(data)
    lock = kept / "compiling"
    with suppress(OSError):
        if time.time() - lock.stat().st_mtime > LOCK_S:
            lock.unlink()
    with suppress(OSError):
        kept.mkdir(parents=True, exist_ok=True)
        lock.touch(exist_ok=False)
        command = [sys.executable, "-m", "server.planning.schedule.compiling", str(data)]  # found from ROOT
        quiet = subprocess.DEVNULL
        subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True, cwd=ROOT)  # noqa: S603
