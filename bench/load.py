"""The server under load, on one core: readers that look again and again, and people who write meanwhile.

``./umberday bench load [--studios N] [--panels N] [--readers N] [--every S] [--seconds S] [--engine NAME]``

A reader is a screen or a calendar program: it asks, reads to the end, waits ``every`` seconds and asks again, on a line
of its own each time. Half of them look at Today, a quarter at the calendar, a quarter at the feed, which sends back the
ETag it got. Five writes a second come whether or not the ones before were answered, each in any of the studios: two
presses of a fingertip, which move the dates of a whole studio, a layer to come, a jar for the shelf, a mix. Nothing is
left out of a figure: the first look at a studio that was just written in counts like any. The database lies in the
folder for temporary files (TMPDIR).

*Unloaded* is the same asked alone, one after the other, of studios that were looked at before. Figures are ratios
against its median, each kind of request against its own. Between the two the server comes to rest.
"""

import argparse
import http.client
import os
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timezone
from pathlib import Path
from statistics import median

from bench.load_studios import Seat, many
from bench.timing import row, verdict
from server.planning.schedule import compiled
from server.store.db import Database
from server.store.migrate import migrate

ROOT = Path(__file__).parents[1]
KINDS = ("today", "calendar", "today", "feed")
PATHS = {"today": "/", "calendar": "/calendar"}
WRITES_A_SECOND = 5
ALONE_ROUNDS, ALONE_WRITES = 3, 40
MOST_TIMES = 5.0
REST_LOOKS, REST_LOOK_S, IDLE_SHARE = 30, 1.0, 0.1
DURABLE = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
SEED = 20_250


@dataclass(frozen=True)
class Load:
    """How much of it. ``every_s``: how long a reader waits between two looks."""

    studios: int = 200
    panels: int = 50
    readers: int = 100
    every_s: float = 10.0
    seconds: float = 60.0


@dataclass
class Figures:
    """Seconds of every request by kind, alone and under load, and what went wrong."""

    alone: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    loaded: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    faults: Counter[str] = field(default_factory=Counter)
    cpu_share: float = 0.0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def ratio(self, kind: str) -> float:
        """The 95th percentile under load over the median alone."""
        return percentile(self.loaded[kind], 0.95) / median(self.alone[kind])


def percentile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(int(share * len(ordered)), len(ordered) - 1)]


class Reader:
    """One screen or calendar program, in one studio."""

    def __init__(self, kind: str, seat: Seat) -> None:
        self.kind = kind
        self.seat = seat
        self.etag = ""

    def look(self, port: int) -> float:
        """Ask once and read to the end; the seconds it took. Raises ValueError for another answer than was due."""
        headers = {"Accept-Encoding": "gzip"}
        if self.kind == "feed":
            path = f"/f/{self.seat.feed_token}/calendar.ics"
            headers |= {"If-None-Match": self.etag} if self.etag else {}
        else:
            path = PATHS[self.kind]
            headers["Cookie"] = f"umberday_session={self.seat.session_token}"
        status, etag, seconds = ask(port, "GET", path, headers)
        if status not in ({200, 304} if self.etag else {200}):
            raise ValueError(f"{self.kind}: {status}")
        self.etag = etag if self.kind == "feed" else ""
        return seconds


class Writer:
    """People who write, each time somebody else."""

    def __init__(self, seats: list[Seat]) -> None:
        self.rng = random.Random(SEED)
        self.seats = seats
        self.number = 0

    def next_one(self) -> Callable[[int], float]:
        """What is sent next."""
        self.number += 1
        number, seat = self.number, self.rng.choice(self.seats)
        path, values = self._sent(seat, number)
        body = urllib.parse.urlencode({**values, "command_key": f"load-{number}-{seat.feed_token[:12]}"})

        def write(port: int) -> float:
            headers = {
                "Content-Type": "application/x-www-form-urlencoded",
                "Origin": f"http://127.0.0.1:{port}",
                "Cookie": f"umberday_session={seat.session_token}",
            }
            status, _, seconds = ask(port, "POST", path, headers, body)
            if status != 303:
                raise ValueError(f"{path}: {status}")
            return seconds

        return write

    def _sent(self, seat: Seat, number: int) -> tuple[str, dict[str, str]]:
        """An address and its fields."""
        panel, layer, mix = (self.rng.choice(each) for each in (seat.panels, seat.pressable, seat.mixes))
        if number % 5 == 1:
            planned = {"kind": "glaze", "wet_thickness_um": "25", "mixes-0-mix_uid": mix}
            return f"/panels/{panel}/layers/new", planned
        if number % 5 == 2:
            return "/shelf/thinners/new", {"label": f"jar {number}", "solvent": "gum_turpentine"}
        if number % 5 == 3:
            paint = self.rng.choice(seat.paints)
            return "/mixes/new", {"label": f"mix {number}", "parts-0-item": f"paint:{paint}", "parts-0-parts": "10"}
        return f"/layers/{layer}/tests", {"stage": self.rng.choice(("tacky", "touch_dry")), "is_sure": "1"}


def ask(port: int, method: str, path: str, headers: dict[str, str], body: str | None = None) -> tuple[int, str, float]:
    begun = time.perf_counter()
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
        line.request(method, path, body, headers)
        answer = line.getresponse()
        answer.read()
        return answer.status, answer.headers.get("ETag", ""), time.perf_counter() - begun


@dataclass(frozen=True)
class Running:
    """A server that answers."""

    port: int
    pid: int

    def cpu_s(self) -> float:
        """CPU seconds it has used; 0 where the system does not tell."""
        try:
            fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def serving(url: str, home: Path) -> Iterator[Running]:
    """``./umberday serve --shared`` on one core of its own, where the system can say so."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port = int(listener.getsockname()[1])
    environ = {**os.environ, "PYTHONPATH": str(ROOT), "DATABASE_URL": url, "XDG_DATA_HOME": str(home)}
    environ.pop("DISPLAY", None)
    kept = compiled.folder(home / "umberday")
    kept.mkdir(parents=True, exist_ok=True)
    (kept / "compiling").touch()  # nothing is compiled aside while we measure
    command = [sys.executable, "-P", "-m", "server", "serve", "--shared", "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environ, cwd=ROOT)
    try:
        assert process.stdout is not None
        while "Umberday is at" not in (line := process.stdout.readline()):
            if not line:
                raise RuntimeError("The server did not start.")
        keep_to_one_core(process.pid)
        yield Running(port, process.pid)
    finally:
        process.terminate()
        process.communicate(timeout=30)


def keep_to_one_core(pid: int) -> None:
    """The server to the first core that is ours, we to the others."""
    if not hasattr(os, "sched_setaffinity"):
        return
    cores = sorted(os.sched_getaffinity(0))
    for task in Path(f"/proc/{pid}/task").iterdir():
        os.sched_setaffinity(int(task.name), cores[:1])
    if len(cores) > 1:
        os.sched_setaffinity(0, cores[1:])


def measure(url: str, load: Load, home: Path) -> Figures:
    """Fill the database, start the server, and put it under load."""
    migrate(url)
    db = Database(url)
    seats = many(db, datetime.now(timezone.utc), load.studios, load.panels)
    db.close()
    rng = random.Random(SEED)
    readers = [Reader(KINDS[number % len(KINDS)], rng.choice(seats)) for number in range(load.readers)]
    figures = Figures()
    writer = Writer(seats)
    with serving(url, home) as server:
        _alone(server, readers, writer, figures)
        _until_at_rest(server)
        begun, used = time.perf_counter(), server.cpu_s()
        _together(server, readers, writer, figures, load)
        figures.cpu_share = (server.cpu_s() - used) / (time.perf_counter() - begun)
    return figures


def _alone(server: Running, readers: list[Reader], writer: Writer, figures: Figures) -> None:
    """One request after the other."""
    for number in range(1 + ALONE_ROUNDS):
        for reader in readers:
            seconds = reader.look(server.port)
            figures.alone[reader.kind if number else f"first {reader.kind}"].append(seconds)
    for _ in range(ALONE_WRITES):
        figures.alone["write"].append(writer.next_one()(server.port))


def _until_at_rest(server: Running) -> None:
    """The writes alone came one upon the other: what they left to be made anew is no part of the minute."""
    for _ in range(REST_LOOKS):
        used = server.cpu_s()
        time.sleep(REST_LOOK_S)
        if server.cpu_s() - used < IDLE_SHARE * REST_LOOK_S:
            return


def _together(server: Running, readers: list[Reader], writer: Writer, figures: Figures, load: Load) -> None:
    """All at once, until the time is up."""
    ends = time.monotonic() + load.seconds
    rng = random.Random(SEED)

    def note(kind: str, act: Callable[[int], float]) -> None:
        try:
            seconds = act(server.port)
        except (OSError, http.client.HTTPException, ValueError) as fault:
            with figures.lock:
                figures.faults[f"{kind}: {fault!r}"] += 1
            return
        with figures.lock:
            figures.loaded[kind].append(seconds)

    def read(reader: Reader, first_s: float) -> None:
        time.sleep(first_s)
        while time.monotonic() < ends:
            note(reader.kind, reader.look)
            time.sleep(load.every_s)

    threads = [threading.Thread(target=read, args=(reader, rng.uniform(0, load.every_s))) for reader in readers]
    for thread in threads:
        thread.start()
    due = time.monotonic()
    while due < ends:
        time.sleep(max(0.0, due - time.monotonic()))
        threads.append(threading.Thread(target=note, args=("write", writer.next_one())))
        threads[-1].start()
        due += 1 / WRITES_A_SECOND
    for thread in threads:
        thread.join()


def report(engine: str, load: Load, figures: Figures) -> None:
    print(
        f"{engine}, one core: {load.studios} studios of {load.panels} panels, {load.readers} readers that look every "
        f"{load.every_s:g} s, {WRITES_A_SECOND} writes a second, for {load.seconds:g} s"
    )
    for kind in ("today", "calendar", "feed", "write"):
        alone, loaded = figures.alone[kind], figures.loaded[kind]
        row(f"{kind}: {len(loaded)} times; median alone", f"{median(alone) * 1000:.1f} ms")
        if f"first {kind}" in figures.alone:
            row(
                f"{kind}: first time, nothing kept yet",
                f"{median(figures.alone[f'first {kind}']) / median(alone):.1f} x",
            )
        row(f"{kind}: median under load", f"{median(loaded) / median(alone):.1f} x")
        row(f"{kind}: 95th percentile", f"{figures.ratio(kind):.1f} x", verdict(figures.ratio(kind), MOST_TIMES))
    row("core in use", f"{figures.cpu_share:.0%}")
    row("errors", str(sum(figures.faults.values())), "; ".join(figures.faults) or "target none: met")


def run(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="./umberday bench load", description="The server under load, on one core.")
    for name, kind in (("studios", int), ("panels", int), ("readers", int), ("every_s", float), ("seconds", float)):
        flag = f"--{name.removesuffix('_s')}"
        parser.add_argument(flag, dest=name, type=kind, default=getattr(Load, name))
    parser.add_argument("--engine", choices=("sqlite", "postgresql", "both"), default="both")
    given = vars(parser.parse_args(arguments))
    engine = given.pop("engine")
    load = Load(**given)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="umberday-load-")))
        if engine != "postgresql":
            report("SQLite", load, measure(f"sqlite:///{folder / 'studio.db'}", load, folder / "sqlite"))
        if engine != "sqlite":
            from tests.databases import running_cluster

            cluster = stack.enter_context(running_cluster(DURABLE))
            cluster.execute("CREATE DATABASE studio")
            report("PostgreSQL", load, measure(cluster.url("studio"), load, folder / "postgresql"))
