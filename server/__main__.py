"""The commands behind ``./umberday``. Each imports what it needs when it runs, so that all start quickly."""

import argparse
import gc
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Command:
    """``add_options`` fills the command's parser; ``run`` takes the parsed options and answers the exit status."""

    name: str
    told: str
    add_options: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def _address_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=8000, help="port to listen on (8000)")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1, this machine alone)")
    parser.add_argument("--log-requests", action="store_true", help="one line for each request on standard error")
    formats = ("text", "json")
    parser.add_argument("--log-format", choices=formats, default="text", help="lines for people or for programs (text)")


def _serve_options(parser: argparse.ArgumentParser) -> None:
    _address_options(parser)
    parser.add_argument(
        "--shared", action="store_true", help="people sign in, each with a role; other machines may then be let in"
    )


def _demo_options(parser: argparse.ArgumentParser) -> None:
    _address_options(parser)
    parser.add_argument(
        "--fresh", action="store_true", help="set the demo up anew for today; the old one is kept aside"
    )


def _demo(options: argparse.Namespace) -> int:
    from server.web.logs import set_up
    from server.web.serve import run_demo

    set_up(options.log_format, log_requests=options.log_requests)
    return run_demo(options.host, options.port, fresh=options.fresh)


def _serve(options: argparse.Namespace) -> int:
    from server.web.logs import set_up
    from server.web.serve import run_studio

    set_up(options.log_format, log_requests=options.log_requests)
    return run_studio(options.host, options.port, shared=options.shared)


def _new_password_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("email", help="what they sign in with")


def _new_password(options: argparse.Namespace) -> int:
    from server.web.serve import new_password

    return new_password(options.email)


def _demo_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--demo", action="store_true", help="of the demo, in place of your own studio")


def _no_options(_parser: argparse.ArgumentParser) -> None:
    """A command that only does what it does."""


def _texts(_options: argparse.Namespace) -> int:
    from server.web.language.gathering import rewrite

    for language, waiting in rewrite().items():
        print(f"{language}: {waiting} messages wait for a translation.")
    return 0


def _kept_file_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="the file to write or to read")
    _demo_option(parser)


def _backup(options: argparse.Namespace) -> int:
    from server.web.upkeep import back_up

    return back_up(options.file, demo=options.demo)


def _restore(options: argparse.Namespace) -> int:
    from server.web.upkeep import restore

    return restore(options.file, demo=options.demo)


def _check(options: argparse.Namespace) -> int:
    from server.web.upkeep import check

    return check(demo=options.demo)


def _export(options: argparse.Namespace) -> int:
    from server.web.upkeep import export

    return export(options.file, demo=options.demo)


def _file_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE.json", help="the request, or an array of them; - for standard input")


def _call(options: argparse.Namespace) -> int:
    from server.formats.calls.command import run

    status = run(options.command, options.file, sys.stdout, sys.stderr)
    # The process ends: to look for garbage among what thousands of answers left takes as long as some of them.
    gc.freeze()
    return status


def _plan(options: argparse.Namespace) -> int:
    from server.formats.calls.command import run
    from server.planning.schedule import compiled, threads
    from server.web.settings import data_dir

    threads.allow(threads.share(1))
    if not compiled.choose(data_dir()).is_compiled:
        compiled.compile_aside(data_dir())  # for the next time; this plan does not wait for it
    return run(options.command, options.file, sys.stdout, sys.stderr)


COMMANDS = (
    Command("demo", "an invented studio to look around in, apart from your own", _demo_options, _demo),
    Command("serve", "your own studio", _serve_options, _serve),
    Command(
        "new-password", "a code for somebody of a shared studio who forgot theirs", _new_password_options, _new_password
    ),
    Command("estimate", "when a layer dries: JSON in, JSON out", _file_option, _call),
    Command("soundness", "whether a layer may go over a stack: JSON in, JSON out", _file_option, _call),
    Command("plan", "which sitting when, so that panels make their dates: JSON in, JSON out", _file_option, _plan),
    Command("backup", "a copy of the studio's database, made while it is in use", _kept_file_options, _backup),
    Command("export", "one archive with everything: records, lists, drawings, sheets", _kept_file_options, _export),
    Command("restore", "a backup or an archive into an empty install", _kept_file_options, _restore),
    Command("check", "whether the database is whole and as its history tells", _demo_option, _check),
    Command("texts", "bring the files of the languages in step with the sources", _no_options, _texts),
    Command("learn", "what touch tests say of later layers: JSON in, JSON out", _file_option, _call),
)
# What the launcher runs itself.
LAUNCHER_COMMANDS = {
    "test": "the whole suite; takes pytest's options",
    "lint": "ruff, the format and the types",
    "bench": "how fast the calculations and pages are",
    "pictures": "every page of the demo as a picture, at two sizes, light and dark",
}


def parser() -> argparse.ArgumentParser:
    others = "\n".join(f"    {name:<12}{told}" for name, told in LAUNCHER_COMMANDS.items())
    top = argparse.ArgumentParser(
        prog="./umberday",
        description="When each layer of an oil painting dries, and whether the next may go over it.",
        epilog=f"also:\n{others}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    subparsers = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for command in COMMANDS:
        command.add_options(subparsers.add_parser(command.name, help=command.told, description=command.told))
    subparsers.add_parser("help", help="this list")
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    given = list(sys.argv[1:] if arguments is None else arguments)
    top = parser()
    if not given or given == ["help"]:
        top.print_help()
        return 0
    options = top.parse_args(given)
    for command in COMMANDS:
        if command.name == options.command:
            return command.run(options)
    return 2


if __name__ == "__main__":
    sys.exit(main())
