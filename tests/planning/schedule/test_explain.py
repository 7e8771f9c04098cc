"""Why a sitting is on its day, and how far it may slip, held against the checker: the same plan with that sitting alone
in another window, one by one. The checker says what forbids each."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.planning.schedule import planner
from server.planning.schedule.check import Fault, check
from server.planning.schedule.explain import explained
from server.planning.schedule.model import build, kept_of
from server.planning.schedule.plan import Binding, PlacedSitting, Plan
from server.planning.schedule.planner import Bench
from server.planning.schedule.problem import Hours, LinkKind, Painter, Previous, Problem, Sitting, Spread
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import AFTERNOONS, MORNINGS, QUICK, SLOW, TODAY, chain, plan_at, problems, studio

SHORT = Hours(frozenset({1, 3, 5}), 17 * 60, 18 * 60)
LONG = Hours(frozenset(range(1, 6)), 10 * 60, 15 * 60)
AHEAD = 4  # windows looked at beyond the last that a sitting may slip to
TAKES = {"painter", "short", "easels", "rack", "still_wet", "overlaps", "palette"}


@dataclass
class Told:
    """A plan with its reasons, and the same with one sitting elsewhere."""

    problem: Problem
    bench: Bench
    plan: Plan

    @classmethod
    def of(cls, problem: Problem, moves: int = 40) -> "Told":
        _, bench = planner.plan(problem, budget=Budget(moves=moves))
        return cls(problem, bench, explained(bench, with_options=False))

    def __getitem__(self, sitting: str) -> PlacedSitting:
        return next(s for s in self.plan.sittings if s.id == sitting)

    def number(self, sitting: str) -> int:
        return self.bench.model.shape.number[sitting]

    def window(self, sitting: str) -> int:
        return self.bench.desk.window_of(self.number(sitting))

    def at(self, sitting: str, window: int) -> list[int]:
        at = list(self.bench.desk.c.at)
        at[self.number(sitting)] = window
        return at

    def with_at(self, sitting: str, window: int) -> Plan:
        return plan_at(self.bench, self.at(sitting, window), [None] * len(self.problem.panels))

    def faults(self, sitting: str, window: int) -> list[Fault]:
        """Of the plan with that sitting in that window."""
        return check(self.problem, self.with_at(sitting, window))

    @cached_property
    def against(self) -> set[Fault]:
        """What the checker has against the plan as it stands."""
        return set(check(self.problem, plan_at(self.bench, self.bench.desk.c.at, [None] * len(self.problem.panels))))

    @cached_property
    def roomy(self) -> Bench:
        """The same studio where everything takes a minute, so that nothing is full."""
        panels = tuple(
            replace(p, sittings=tuple(replace(s, minutes=1) for s in p.sittings)) for p in self.problem.panels
        )
        roomy = replace(self.problem, panels=panels, set_up_min=0, rack_places=None, easels=None)
        own = self.bench.model
        pins = {own.sittings[s].id for s in own.pins}
        loose = {p.sitting for p in roomy.previous} - pins
        left_out = {s.id for panel in panels for s in panel.sittings} - set(own.shape.number) - set(own.shape.done)
        model = build(roomy, own.days, kept_of(roomy, left_out, loose))
        assert (model.shape.number, len(model.windows)) == (own.shape.number, len(own.windows))
        return replace(self.bench, desk=replace(self.bench.desk, model=model))

    def order(self, sitting: str, window: int) -> list[Fault]:
        """The same, but for room: what it follows, what follows it, and when its panel is there."""
        plan = plan_at(self.roomy, self.at(sitting, window), [None] * len(self.problem.panels))
        faults = check(self.roomy.model.problem, plan)
        return [f for f in faults if f.kind == "release" or f.kind in set(LinkKind)]

    def earlier(self, sitting: str) -> list[int]:
        """The windows before its own of those who may paint it."""
        model = self.bench.model
        allowed = model.sittings[self.number(sitting)].painters or tuple(p.id for p in self.problem.painters)
        windows = range(self.window(sitting))
        return [w for w in windows if self.problem.painters[model.windows[w].painter].id in allowed]

    def later(self, sitting: str) -> list[int]:
        """The windows after its own of those who may paint it, for sixty days and not beyond its panel's due day."""
        model, own = self.bench.model, self.window(sitting)
        allowed = model.sittings[self.number(sitting)].painters or tuple(p.id for p in self.problem.painters)
        windows = range(own + 1, len(model.windows))
        near = [w for w in windows if model.windows[w].day <= model.windows[own].day + 60]
        return [w for w in near if self.problem.painters[model.windows[w].painter].id in allowed]

    def is_harmless(self, sitting: str, window: int) -> bool:
        plan = self.with_at(sitting, window)
        if any(new.late_d > old.late_d for new, old in zip(plan.panels, self.plan.panels, strict=True)):
            return False
        return {f.kind for f in check(self.problem, plan)} <= {"missing"}

    def start_in(self, sitting: str, window: int) -> datetime:
        return next(s.start_at for s in self.with_at(sitting, window).sittings if s.id == sitting)

    def state(self, sitting: str, window: int) -> str:
        """What the checker has against a sitting in a window, as the reasons call it."""
        order = self.order(sitting, window)
        faults = [f for f in self.faults(sitting, window) if f.kind != "missing"]
        kinds = {f.kind for f in faults}
        if any(f.sittings[-1] == sitting for f in order):
            return "unready"
        late = {f.sittings[0] for f in faults if f.kind in ("hours", "pinned")}
        model, here = self.bench.model, self.window_starts(window)
        if any(
            s.id in late and self.window_starts(self._at(sitting, window, s.id)) == here for s in self.plan.sittings
        ):
            own = model.sittings[self.number(sitting)]
            alone = own.minutes + (self.problem.set_up_min if own.palette and self._mixes(sitting, window) else 0)
            return "short" if model.windows[window].minutes < alone else "painter"
        for kind in ("easels", "rack"):
            if kind in kinds:
                return kind
        if order:
            return "still_wet" if any("wet limit" in f.text for f in order) else "overlaps"
        return "palette" if faults else "free"

    def _at(self, moved: str, window: int, sitting: str) -> int:
        return window if sitting == moved else self.window(sitting)

    def window_starts(self, window: int) -> tuple[int, int]:
        found = self.bench.model.windows[window]
        return found.painter, found.start_min

    def _mixes(self, sitting: str, window: int) -> bool:
        return any(s.id == sitting and s.set_up_min for s in self.with_at(sitting, window).sittings)


@st.composite
def crowded(draw: st.DrawFn) -> Problem:
    """The small studios with releases, a short evening, another painter whose hours overlap, a plan in use."""
    problem = draw(problems())
    releases = st.sampled_from([None, None, TODAY + timedelta(days=1), TODAY + timedelta(days=5)])
    hours = draw(st.sampled_from([(MORNINGS, AFTERNOONS), (MORNINGS, SHORT), (AFTERNOONS,)]))
    painters = [Painter("p1", hours)]
    if draw(st.booleans()):
        painters.append(Painter("p2", (LONG,)))
    panels = tuple(replace(panel, release_on=draw(releases)) for panel in problem.panels)
    if draw(st.booleans()):
        third = chain("panel 2", [Sitting("s20", 90, "grey", ("p1",), SLOW), Sitting("s21", 60, "red", (), QUICK)])
        panels = (*panels, third)
    problem = replace(problem, painters=tuple(painters), panels=panels)
    if draw(st.booleans()):
        plan, _ = planner.plan(problem, budget=Budget(moves=10))
        previous = tuple(
            Previous(s.id, s.start_at, pinned=draw(st.integers(0, 4)) == 0, painter=s.painter)
            for s in plan.sittings
            if draw(st.booleans())
        )
        problem = replace(problem, previous=previous, keep_today=draw(st.booleans()))
    if draw(st.integers(0, 3)) == 0:  # the first layer of a panel lies there
        done = Previous(problem.panels[0].sittings[0].id, datetime(2026, 10, 30, 14, tzinfo=UTC), done=True)
        kept = tuple(one for one in problem.previous if one.sitting != done.sitting)
        problem = replace(problem, previous=(*kept, done))
    return problem


COUNTED = re.compile(
    r"(?:(?:the|(\d+) of the \d+|the (\d+)) working times? (?:before|since then)|(one|\d+) of them) (?:is|are) (.{5})"
)
WORDS = {"full,": "painter", "too s": "short", "witho": "easels", "too e": "rack", "not o": "overlaps"}


def counted(text: str) -> Counter[str]:
    """How many windows a reason says are taken, by what."""
    found: Counter[str] = Counter()
    for clause in text.split("; "):
        match = COUNTED.search(clause)
        if match is None:
            continue
        kind = WORDS[match[4]]
        if "for its paint" in clause:
            kind = "still_wet"
        if "to be mixed" in clause:
            kind = "palette"
        number = match[1] or match[2] or match[3] or "1"
        found[kind] += 1 if number == "one" else int(number)
    return found


def finish(plan: Plan, panel: str) -> date:
    return next(p.finish_on or date.max for p in plan.panels if p.id == panel)


def untrue(told: Told, placed: PlacedSitting) -> Iterator[str]:
    """What is wrong with a reason."""
    assert placed.binding is not None
    kind, text = placed.binding.kind, placed.binding.text
    states = [(w, told.state(placed.id, w)) for w in told.earlier(placed.id)]
    open_to = [(w, state) for w, state in states if state != "unready"]
    if kind in {"released", "drying", "closed", "rule", "follows"}:
        yield from untrue_wait(told, placed, [w for w, _ in states])
        if open_to:
            yield f"could have been in {open_to}"
    elif kind == "palette" and "shares" in text:
        others = [s for s in told.plan.sittings if s.palette == placed.palette and s.id != placed.id]
        if not any((s.painter, s.start_at.date()) == (placed.painter, placed.start_at.date()) for s in others):
            yield "no other has the palette that day"
    elif kind in TAKES:
        yield from untrue_count(told, placed, open_to)
    elif kind == "kept":
        stood = {p.sitting: p.start_at.date() for p in told.problem.previous}
        if stood.get(placed.id) != placed.start_at.date():
            yield "it stood on another day"
    elif kind == "free":
        yield from untrue_choice(told, placed, [w for w, state in open_to if state == "free"])
    elif kind != "pinned":
        yield f"{kind} is no kind of reason"


def untrue_wait(told: Told, placed: PlacedSitting, earlier: list[int]) -> Iterator[str]:
    """Nothing but what it waits for: then that alone forbids every window before."""
    assert placed.binding is not None
    by = placed.binding.by
    for w in earlier:
        against = told.order(placed.id, w)
        if by is not None and not any(f.sittings == (by, placed.id) for f in against):
            yield f"{by} does not keep it from {w}"
        if by is None and not any(f.kind == "release" and f.sittings == (placed.id,) for f in against):
            yield f"{w} is not before the release"
    panel = next(p for p in told.problem.panels if p.id == placed.panel)
    if by is None and (panel.release_on or TODAY) > TODAY and placed.binding.text.startswith("the first"):
        yield "it is not there from today on"


def untrue_count(told: Told, placed: PlacedSitting, open_to: list[tuple[int, str]]) -> Iterator[str]:
    """Windows that are taken, with their numbers and who stands in the last of them."""
    assert placed.binding is not None
    kind, text = placed.binding.kind, placed.binding.text
    found = Counter(state for _, state in open_to)
    if counted(text) != found or kind not in found:
        yield f"{counted(text)} told, {open_to} found"
    full = re.search(r"full, (?:the last )?with ([^;]+)", text)
    if full:
        last = max(w for w, state in open_to if state == "painter")
        if any(told.window(name) != last for name in full[1].split(", ")):
            yield f"{full[1]} do not stand in {last}"


def untrue_choice(told: Told, placed: PlacedSitting, free: list[int]) -> Iterator[str]:
    assert placed.binding is not None
    now = finish(told.plan, placed.panel)
    days = [finish(told.with_at(placed.id, w), placed.panel) for w in free]
    if not free or ("not be ready sooner" in placed.binding.text) != (days[0] >= now):
        yield f"{free} are free, to be ready on {days} in place of {now}"


@settings(max_examples=60, deadline=None, derandomize=True)
@given(crowded())
def test_every_reason_is_one_that_the_checker_agrees_with(problem: Problem) -> None:
    told = Told.of(problem, moves=20)
    assume({f.kind for f in told.against} <= {"missing"})  # what has no place is not told of
    for placed in told.plan.sittings:
        assert list(untrue(told, placed)) == [], (placed.id, placed.start_at, placed.binding)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(crowded())
def test_a_sitting_may_slip_as_far_as_the_checker_lets_it(problem: Problem) -> None:
    """Alone, all else where it stands: nothing is at fault there and nothing gets late; further on it would."""
    told = Told.of(problem, moves=10)
    assume({f.kind for f in told.against} <= {"missing"})
    for placed in told.plan.sittings:
        assert placed.may_slip_to is not None and placed.binding is not None
        if placed.binding.kind == "pinned":
            continue
        windows = told.later(placed.id)
        starts = {w: told.bench.model.zone.instant(told.bench.model.windows[w].start_min) for w in windows}
        further = [w for w in windows if starts[w] > placed.may_slip_to]
        if finish(told.plan, placed.panel) < date.max:  # else nothing of it can get late
            assert not any(told.is_harmless(placed.id, w) for w in [*further[:AHEAD], *further[-1:]])
        if placed.may_slip_to > placed.start_at:
            slips = [w for w in windows if starts[w] <= placed.may_slip_to][-AHEAD:]
            slips = [w for w in slips if told.start_in(placed.id, w) == placed.may_slip_to]
            assert any(told.is_harmless(placed.id, w) for w in slips)


def morning_taken(*, free_first: bool, **facts: object) -> Told:
    """Tuesday's morning holds an urgent panel for all of it; another panel comes on Tuesday as well. Monday is free."""
    tuesday = TODAY + timedelta(days=1)
    urgent = chain("urgent", [Sitting("u1", 180)], due_on=tuesday, weight=9.0, release_on=tuesday)
    layers = [Sitting("a1", 90, None, (), Spread(0.4, 0.4)), Sitting("a2", 90)][1 - free_first :]
    other = replace(chain("other", layers), **({"release_on": tuesday} | facts))  # type: ignore[arg-type]
    return Told.of(studio(urgent, other))


def test_a_full_morning_is_told_with_what_kept_the_panel_before_it() -> None:
    """Monday is empty, and yet it is no day for a panel that is there from Tuesday on."""
    told = morning_taken(free_first=False)
    assert told["a2"].start_at.hour == 13
    assert told["a2"].binding == Binding(
        "painter",
        "p1",
        "the panel is there from Tuesday 3 November 2026; the working time since then is full, with u1",
    )


def test_a_full_morning_is_told_with_what_lies_below() -> None:
    """Monday's afternoon is empty: the layer of its morning is ready by 21:36 (0.4 days after noon)."""
    told = morning_taken(free_first=True, release_on=None)
    assert (told["a1"].start_at.day, told["a2"].start_at.hour) == (2, 13)
    assert told["a2"].binding == Binding(
        "painter", "p1", "a1 is ready by Monday 2 November 2026; the working time since then is full, with u1"
    )


def test_an_empty_evening_that_is_too_short_is_not_called_full() -> None:
    hours = (SHORT, AFTERNOONS)
    panel = chain("a", [Sitting("a1", 120)], release_on=TODAY + timedelta(days=2))
    morning = (Hours(frozenset({3}), 9 * 60, 10 * 60), *hours)
    told = Told.of(replace(studio(panel), painters=(Painter("p1", morning),)))
    assert told["a1"].binding is not None
    assert told["a1"].binding.kind == "short"
    assert told["a1"].binding.text.endswith("the working time since then is too short for its 120 minutes")


def test_what_shares_a_palette_or_has_no_due_day_may_slip() -> None:
    """Nothing is late for it: another day's mixing is no harm, and neither is a later finish that nobody waits for."""
    due = chain("a", [Sitting("a1", 60, "grey")], due_on=TODAY + timedelta(days=9))
    undated = chain("b", [Sitting("b1", 60, "grey")])
    told = Told.of(studio(due, undated))
    assert told["a1"].start_at.date() == told["b1"].start_at.date() == TODAY
    # The last afternoon after which it is deliverable on the due day, mixing first; sixty days on is a Friday.
    assert told["a1"].may_slip_to == datetime(2026, 11, 10, 13, 30, tzinfo=UTC)
    assert told["b1"].may_slip_to == datetime(2027, 1, 1, 13, 30, tzinfo=UTC)


def test_a_sitting_slips_to_where_it_would_stand_beside_others() -> None:
    """The afternoon is taken until three."""
    first = chain("a", [Sitting("a1", 60)], due_on=TODAY + timedelta(days=1))
    other = replace(chain("b", [Sitting("b1", 120)]), release_on=TODAY)
    held = (Previous("b1", datetime(2026, 11, 2, 13, tzinfo=UTC), pinned=True),)
    told = Told.of(studio(first, other, previous=held))
    assert told["a1"].start_at.hour == 9
    assert told["a1"].may_slip_to in {datetime(2026, 11, 2, hour, tzinfo=UTC) for hour in (13, 15)}
    slipped = told.with_at("a1", 1)
    assert next(s for s in slipped.sittings if s.id == "a1").start_at == told["a1"].may_slip_to


def test_a_wait_that_a_rule_asks_is_told_as_the_rule() -> None:
    """Derived: laid by noon on Monday and dry the next day, but a rule asks for three days: Thursday at noon."""
    layers = [Sitting("a1", 60, None, (), QUICK), Sitting("a2", 60)]
    panel = chain("a", layers)
    links = tuple(replace(link, rest_d=3.0) for link in panel.links)
    told = Told.of(studio(replace(panel, links=links)))
    text = "a rule asks to wait over a1 until Thursday 5 November 2026"
    assert told["a2"].binding == Binding("rule", "a1", text)
    assert told["a2"].start_at == datetime(2026, 11, 5, 13, tzinfo=UTC)
    short = tuple(replace(link, rest_d=0.2) for link in panel.links)
    quick = Told.of(studio(replace(panel, links=short)))["a2"].binding
    assert quick is not None and quick.kind == "drying"


def test_a_plan_is_told_anew_once_something_stands_elsewhere() -> None:
    bench = planner.lay_out(studio(chain("p", [Sitting("a", 60)])))
    first = planner.answer(bench)
    [at] = bench.desk.c.at
    bench.desk.restore([at + 1])
    later = planner.answer(bench)
    assert later.sittings[0].start_at > first.sittings[0].start_at
    assert explained(bench).sittings[0].start_at == later.sittings[0].start_at
    bench.desk.restore([at])
    assert planner.answer(bench) == first
