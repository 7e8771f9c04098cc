"""Start-up, and what a thousand requests cost the command, start-up included."""

import json
import os
import random
import resource
import subprocess
import sys
from pathlib import Path

from bench.timing import row, verdict

ROOT = Path(__file__).parents[1]
REQUESTS = 10_000
PAIRS = 5000
SEED = 20_112
PIGMENTS = (("PW6", ""), ("PW1", ""), ("PBk9", ""), ("PR108", ""), ("PBr7", "raw umber"), ("PY42", ""))
EXAMPLE = ROOT / "server" / "formats" / "calls" / "examples" / "estimate_light_grey.json"


def child_cpu_s(*arguments: str, text: str = "") -> float:
    """CPU seconds of a Python process with these arguments, from its start to its end."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, *arguments]
    subprocess.run(command, input=text, capture_output=True, text=True, check=True, cwd=ROOT, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime)


def pairs() -> list[dict[str, object]]:
    """Checks of one layer over another, no two alike: six pigments, oil and solvent in any amount, films of 15 to
    120 um, ages up to forty days."""
    rng = random.Random(SEED)

    def layer(thicknesses: tuple[int, ...]) -> dict[str, object]:
        name, variant = rng.choice(PIGMENTS)
        pigment = {"ci_name": name} | ({"variant": variant} if variant else {})
        additions: list[dict[str, object]] = []
        if rng.random() < 0.6:
            additions.append({"kind": "oil", "oil": "linseed", "parts": round(rng.uniform(0.1, 3), 2)})
        if rng.random() < 0.4:
            solvent = {"solvent": "odourless_mineral_spirits", "parts": round(rng.uniform(0.1, 6), 2)}
            additions.append({"kind": "solvent", **solvent})
        mix = {"paints": [{"parts": 10, "pigments": [pigment]}], "additions": additions}
        return {"wet_thickness_um": rng.choice(thicknesses), "ground": "paint", "mixes": [mix]}

    return [
        {
            "support": "rigid",
            "ground": {"kind": "acrylic", "age_d": 60},
            "stack": [{"layer": layer((20, 40, 60, 120)), "kind": "oil", "age_d": round(rng.uniform(0.2, 40), 2)}],
            "upper": {"layer": layer((15, 40, 60)), "kind": "oil"},
            "room": {"temperature_c": 20, "relative_humidity_pct": 50},
        }
        for _ in range(PAIRS)
    ]


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
    none = min(child_cpu_s("-m", "server", "soundness", "-", text="[]") for _ in range(2))
    text = json.dumps(pairs())
    checked = min(child_cpu_s("-m", "server", "soundness", "-", text=text) for _ in range(3)) - none
    row(f"soundness command, {PAIRS:,} pairs", f"{checked:.2f} s", f"beside start-up; {verdict(checked, 2.0)}")
