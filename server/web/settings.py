"""What this process runs with. The only module that reads the environment.

==================  ==========================================================================================
variable            meaning
==================  ==========================================================================================
DATABASE_URL        the studio's database, when it is not the file in the data directory (``postgresql+psycopg://…``)
UMBERDAY_SEARCHES   how many processes search for plans at once, 1 to 32; 3 when unset
DISPLAY             set where a browser window can open (so is WAYLAND_DISPLAY)
UMBERDAY_PROXIES    addresses of the proxies before a shared studio, whose word on who calls is taken
UMBERDAY_SECRET_FILE  where the key is that seals one-time codes; beside the database when unset
UMBERDAY_PUBLIC_URL what a shared studio is called by from outside, ``https://studio.example``; several with commas
TZ                  the time zone a new studio starts with, when it is an IANA name; else the machine's
XDG_DATA_HOME       the user's data directory, ``~/.local/share`` when unset; files go to ``umberday`` below it
==================  ==========================================================================================
"""

import os
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parents[2]
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")
MAX_BODY_BYTES = 1_000_000
DEMO_FILE = "demo.db"
SEARCHES, MOST_SEARCHES = 3, 32


class NotAllowed(Exception):
    """A start that is refused; the message is for the person at the keyboard."""


@dataclass(frozen=True, slots=True)
class Settings:
    """``host_names`` are the names a browser may call this server by; ``threads`` bounds both the workers and the
    database connections, so that no worker ever waits for a connection.

    ``shared``: people sign in. ``https``: browsers call by https, through a proxy. ``proxies``: the addresses of
    those whose word is taken on who calls.
    """

    database_url: str
    host: str = "127.0.0.1"
    port: int = 8000
    host_names: tuple[str, ...] = LOOPBACK_NAMES
    time_zone: str = "UTC"  # of a studio that is made on first start
    max_body_bytes: int = MAX_BODY_BYTES
    threads: int = 16
    shared: bool = False
    https: bool = False
    proxies: tuple[str, ...] = ()
    secret_file: Path | None = None  # of the key that seals seeds, None for beside the database's file
    searches: int = SEARCHES  # processes that search for plans, at most
    public_url: str = ""  # what the console tells people to open, "" for the address listened at
    works_ahead: bool = False  # what is looked at is kept ready by a thread of its own
    static_dir: Path = ROOT / "static"
    templates_dir: Path = ROOT / "templates"


def data_dir(environ: Mapping[str, str] = os.environ) -> Path:
    """The folder of the painter's files. A relative XDG_DATA_HOME is ignored, as its specification asks."""
    given = environ.get("XDG_DATA_HOME", "")
    base = Path(given) if os.path.isabs(given) else Path.home() / ".local" / "share"
    return base / "umberday"


def default_url(file_name: str = "umberday.db", environ: Mapping[str, str] = os.environ) -> str:
    """The database of the own studio, or of the demo (``demo.db``, never the one DATABASE_URL names)."""
    if file_name == "umberday.db" and environ.get("DATABASE_URL"):
        return environ["DATABASE_URL"]
    return f"sqlite:///{data_dir(environ) / file_name}"


def secret_file(url: str, environ: Mapping[str, str] = os.environ) -> Path | None:
    """Where the key is that seals seeds of one-time codes: as UMBERDAY_SECRET_FILE says, else None for beside the
    database's file; of a database that is no file in the data directory. Raises ``NotAllowed`` for a relative path."""
    given = environ.get("UMBERDAY_SECRET_FILE", "").strip()
    if given and not os.path.isabs(given):
        raise NotAllowed(f"UMBERDAY_SECRET_FILE holds {given}. Give the whole path of a file, from / on.")
    if given:
        return Path(given)
    return None if url.startswith("sqlite") else data_dir(environ) / "umberday.key"


def local_zone(environ: Mapping[str, str] = os.environ, localtime: Path = Path("/etc/localtime")) -> str:
    """This machine's time zone as an IANA name, ``UTC`` where it cannot be told."""
    given = environ.get("TZ", "").removeprefix(":")
    if "/" in given and not given.startswith("/"):
        return given
    _, found, name = os.path.realpath(localtime).partition("/zoneinfo/")
    return name if found else "UTC"


def search_processes(environ: Mapping[str, str] = os.environ) -> int:
    """How many processes may search for plans. Raises ``NotAllowed`` for what is no number of them."""
    given = environ.get("UMBERDAY_SEARCHES", "").strip() or str(SEARCHES)
    if not given.isascii() or not given.isdigit() or not 1 <= int(given) <= MOST_SEARCHES:
        raise NotAllowed(f"UMBERDAY_SEARCHES holds {given}. Give a number of processes, 1 to {MOST_SEARCHES}.")
    return int(given)


def has_display(environ: Mapping[str, str] = os.environ) -> bool:
    """Whether a browser window could open here."""
    return bool(environ.get("DISPLAY") or environ.get("WAYLAND_DISPLAY"))


def check_host(host: str, *, shared: bool = False) -> str:
    """``host`` when it is this machine alone, or the install is shared. Raises ``NotAllowed`` otherwise."""
    if shared or host in {"127.0.0.1", "localhost", "::1"}:
        return host
    raise NotAllowed(
        f"{host} would let other machines in, and without accounts nobody could tell them apart. "
        "Add --shared, so that people sign in; or leave --host out to work alone on this machine."
    )


@dataclass(frozen=True, slots=True)
class Public:
    """What a shared install is called by from outside. ``urls``: as they were given, for the console."""

    host_names: tuple[str, ...] = ()
    https: bool = False
    proxies: tuple[str, ...] = ()
    urls: tuple[str, ...] = ()


def public_address(host: str, environ: Mapping[str, str] = os.environ) -> Public:
    """The names of a shared install, from the environment and from where it listens. Raises ``NotAllowed``."""
    urls = tuple(_pieces(environ.get("UMBERDAY_PUBLIC_URL", "")))
    split = [urlsplit(url) for url in urls]
    for url, parts in zip(urls, split, strict=True):
        if parts.scheme not in {"http", "https"} or not parts.hostname or parts.path not in {"", "/"}:
            raise NotAllowed(f"UMBERDAY_PUBLIC_URL holds {url}, which is no address such as https://studio.example.")
    if len({parts.scheme for parts in split}) > 1:
        raise NotAllowed("UMBERDAY_PUBLIC_URL mixes http and https. Use https for all of them.")
    machine = socket.gethostname().lower()
    names = [str(parts.hostname).lower() for parts in split] + [machine, f"{machine}.local", _as_named(host)]
    return Public(
        host_names=tuple(dict.fromkeys(names)),
        https=any(parts.scheme == "https" for parts in split),
        proxies=tuple(_pieces(environ.get("UMBERDAY_PROXIES", ""))),
        urls=urls,
    )


def _pieces(text: str) -> list[str]:
    return [piece.strip() for piece in text.split(",") if piece.strip()]


def _as_named(host: str) -> str:
    """An address as a browser writes it in front of its port."""
    return f"[{host}]" if ":" in host else host.lower()
