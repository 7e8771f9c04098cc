"""``./umberday bench [PART ...]``: figures as ratios, each against a baseline in the same run."""

import sys

from bench import commands, estimates, learning, pages, readings, replanning, searches, spread

PARTS = {
    "estimates": estimates.run,
    "commands": commands.run,
    "pages": pages.run,
    "learning": learning.run,
    "spread": spread.run,
    "readings": readings.run,
    "searches": searches.run,
    "replanning": replanning.run,
}


def main(arguments: list[str]) -> int:
    if arguments[:1] == ["plan"]:  # which has options of its own, and takes minutes
        from bench import plan

        plan.run(arguments[1:])
        return 0
    if arguments[:1] == ["load"]:  # the same
        from bench import load

        load.run(arguments[1:])
        return 0
    unknown = [name for name in arguments if name not in PARTS]
    if unknown:
        print(f"There is no bench {', '.join(unknown)}. There are: {', '.join(PARTS)}.", file=sys.stderr)
        return 2
    for name in arguments or [name for name in PARTS if name != "spread"]:  # which takes minutes
        PARTS[name]()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
