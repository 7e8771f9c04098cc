"""Start-up, and what a thousand requests cost the command, start-up included."""

import json
import os
import resource
import subprocess
import sys
from pathlib import Path

from bench.timing import row, verdict

ROOT = Path(__file__).parents[1]
REQUESTS = 10_000
EXAMPLE = ROOT / "server" / "formats" / "calls" / "examples" / "estimate_light_grey.json"


def child_cpu_s(*arguments: str, text: str = "") -> float:
    """CPU seconds of a Python process with these arguments, from its start to its end."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, *arguments]
    subprocess.run(command, input=text, capture_output=True, text=True, check=True, cwd=ROOT, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime)


def run() -> None:
    print("Start-up and commands (CPU)")
    bare = min(child_cpu_s("-c", "pass") for _ in range(3))
    app = min(child_cpu_s("-c", "import server.web.app") for _ in range(3))
    row("Python alone", f"{bare:.2f} s")
    row("the web application imported", f"{app:.2f} s", f"{app / bare:.0f} times Python alone")
    request = json.loads(EXAMPLE.read_text(encoding="utf-8"))["request"]
    requests = []
    for i in range(REQUESTS):
        layer = {**request["layer"], "wet_thickness_um": 20 + i / 10}
        requests.append({**request, "layer": layer})
    one = min(child_cpu_s("-m", "server", "estimate", "-", text=json.dumps(request)) for _ in range(2))
    many = min(child_cpu_s("-m", "server", "estimate", "-", text=json.dumps(requests)) for _ in range(2))
    row("estimate command, 1 request", f"{one:.2f} s")
    row(f"estimate command, {REQUESTS:,} requests of two mixes", f"{many - one:.2f} s", "beside start-up")
    for plain in requests:
        plain["layer"] = {**plain["layer"], "mixes": plain["layer"]["mixes"][:1]}
    single = min(child_cpu_s("-m", "server", "estimate", "-", text=json.dumps(requests)) for _ in range(2)) - one
    row(
        f"estimate command, {REQUESTS:,} requests of one mix",
        f"{single:.2f} s",
        f"beside start-up; {verdict(single, 2.0)}",
    )
