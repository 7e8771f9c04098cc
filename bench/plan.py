"""How good and how quick plans are: greedy, the search, and CP-SAT, on seeded instances against the best costs known.

``--sizes 20,60 --seeds 2 --seconds 5 --cp-sat 60 --plain --keep``: panels of the instances, how many of each, seconds
of search (CPU time of each of its ``--threads``, two unless told, so that other work does not show), of CP-SAT (two
workers; 0 leaves it out), the search without its compiled kernel, and whether a better cost than known is written to
the file of best costs. ``--whole``: put even 200 panels to CP-SAT, which wants eight gigabytes for them.
``--events 100``: as many things that happen to a plan of 200 panels in use, what setting it right costs and saves; and
what odds take.
"""

import argparse
import json
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from bench import plan_cpsat, plan_events
from bench.plan_instances import instance
from bench.timing import row, spent
from server.formats.calls.layer_in import Collector
from server.formats.calls.plan_in import PlanRequest
from server.formats.calls.plan_problem import problem
from server.planning.schedule import compiled, planner, solve
from server.planning.schedule.check import check
from server.planning.schedule.compiling import compile_all
from server.planning.schedule.odds import odds_of
from server.planning.schedule.planner import Bench
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget
from server.web.settings import data_dir

BEST = Path(__file__).parent / "plan_best.json"
MOST_ROOM = 400_000  # literals put to CP-SAT; more it does not finish loading in a minute


def question(panels: int, seed: int) -> Problem:
    return problem(PlanRequest.model_validate(instance(panels, seed)), Collector())


def run(arguments: Sequence[str] = ()) -> None:
    options = _options(arguments)
    search = compiled.PLAIN if options.plain else quickest()
    known: dict[str, float] = json.loads(BEST.read_text(encoding="utf-8")) if BEST.exists() else {}
    for panels in options.sizes:
        for seed in range(1, options.seeds + 1):
            _one(panels, seed, search, known, options)
    if options.events:
        plan_events.run(plan_events.asked(options.events, options.threads if search.is_compiled else 1), search)
        _odds(search)
    if options.keep:
        BEST.write_text(json.dumps(known, indent=2, sort_keys=True) + "\n", encoding="utf-8")


def quickest() -> compiled.Search:
    """The compiled search where there can be one, compiled now if it is not yet."""
    data = data_dir()
    if compiled.is_available() and not compiled.is_ready(data):
        begun = time.process_time()
        compile_all(data)
        row("the search compiled, once", f"{time.process_time() - begun:.0f} s", "CPU")
    return compiled.choose(data)


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="./umberday bench plan")
    parser.add_argument("--sizes", type=lambda text: [int(n) for n in text.split(",")], default=[5, 20, 60, 200])
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--cp-sat", type=float, default=10.0)
    parser.add_argument("--whole", action="store_true")
    parser.add_argument("--runs", type=int, default=1)
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--events", type=int, default=0)
    parser.add_argument("--keep", action="store_true")
    return parser.parse_args(arguments)


def _odds(search: compiled.Search) -> None:
    """How long the odds of a plan of sixty panels take."""
    asked = question(60, 1)
    plan, _ = planner.plan(asked, search, Budget(moves=2000))
    begun = time.process_time()
    found = odds_of(asked, plan.sittings)
    spent = time.process_time() - begun
    late = sum(one.odds is not None and one.odds < asked.confidence for one in found.values())
    row("odds of 60 panels, 2,048 draws", f"{spent:.2f} s CPU", f"{late} at risk, each with its weakest link")


def _one(panels: int, seed: int, search: compiled.Search, known: dict[str, float], options: argparse.Namespace) -> None:
    asked, key = question(panels, seed), f"{panels}/{seed}"
    begun = time.process_time()
    first = planner.lay_out(asked, search)
    laid_out_s, greedy_cost = time.process_time() - begun, first.desk.total()
    costs: list[tuple[float, int]] = []
    for run_seed in range(1, options.runs + 1):
        bench = first if run_seed == 1 else planner.lay_out(asked, search, run_seed)
        moves = 0
        count = options.threads if search.is_compiled else 1
        budget = Budget(seed=run_seed, seconds=options.seconds, clock=partial(spent, count), threads=count)
        for progress in planner.search_on(bench, budget):
            moves = progress.moves
        bench.desk.restore(bench.desk.c.best_at)
        faults = check(asked, planner.answer(bench))
        if faults:
            raise RuntimeError(f"{key}: {faults[0].text}")
        costs.append((bench.desk.total(), moves))
    cost, moves = min(costs)
    known[key] = min(known.get(key, cost), cost)
    print(f"{panels} panels, instance {seed} ({len(first.model.sittings)} sittings); best known {known[key]:,.0f}")
    row("laid out and greedy", f"{greedy_cost:,.0f}", f"{laid_out_s:.2f} s CPU")
    told = f"{cost / known[key] - 1:.1%} above the best known, {moves / options.seconds:,.0f} moves a second"
    row(f"search, {options.seconds:g} s CPU in {count} threads", f"{cost:,.0f}", told)
    if options.cp_sat > 0:
        _cp_sat(first, options, cost, known, key)


def _cp_sat(bench: Bench, options: argparse.Namespace, ours: float, known: dict[str, float], key: str) -> None:
    seconds = options.cp_sat
    windows = min(len(bench.model.windows), max(bench.desk.c.best_at) + 1 + len(bench.model.windows) // 20)
    if not options.whole and windows * len(bench.model.sittings) > MOST_ROOM:
        row(f"CP-SAT, {seconds:g} s", "not tried", "too many literals for a run of this length; --whole tries")
        return
    empty = solve.desk(bench.model, compiled.PLAIN, 1)
    begun = time.monotonic()
    found = plan_cpsat.solve(bench.model, empty.c, windows, seconds)
    spent = f"{time.monotonic() - begun:.0f} s by the clock, building included"
    if found.cost is None:
        row(f"CP-SAT, {seconds:g} s, 2 workers", "no plan", spent)
        return
    known[key] = min(known[key], found.cost) if found.is_best else known[key]
    told = "proved best" if found.is_best else f"{found.cost / ours - 1:+.1%} against ours"
    row(f"CP-SAT, {seconds:g} s, 2 workers", f"{found.cost:,.0f}", f"{told}; bound {found.bound:,.0f}; {spent}")


def main(arguments: Sequence[str]) -> Any:
    return run(arguments)
