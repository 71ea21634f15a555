"""The command line: parses, shows progress, prints results, sets the exit status. Heavy libraries load when a command runs."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence

import typer

from penult.cli import analyse as _analyse

PARTS = ("calibrate", "compare", "season", "log", "session", "review", "share", "cache")
"""Modules of further commands, each with `register(app)`; one that is not there yet is passed over."""


def build() -> typer.Typer:
    """Return the command line with every command."""
    app = typer.Typer(
        name="penult",
        help="What a long or triple jump take-off is made of, measured from a phone clip.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_penult)
    _analyse.register(app)
    for part in PARTS:
        name = f"penult.cli.{part}"
        if importlib.util.find_spec(name):
            importlib.import_module(name).register(app)
    return app


def _penult() -> None:
    """What a long or triple jump take-off is made of, measured from a phone clip."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run `penult`."""
    run(list(sys.argv[1:] if arguments is None else arguments))


def analyse_main(arguments: Sequence[str] | None = None) -> None:
    """Run `analyse`, the same as `penult analyse`."""
    run(["analyse", *(sys.argv[1:] if arguments is None else arguments)])


def run(arguments: list[str]) -> None:
    """Run the command line, turning our own errors into a message and an exit status."""
    from penult.errors import PenultError

    try:
        build()(joined_negative(arguments), standalone_mode=True)
    except PenultError as error:
        print(f"error: {error}", file=sys.stderr)  # noqa: T201
        sys.exit(error.exit_status)


def joined_negative(arguments: list[str]) -> list[str]:
    """Join `--mat -1=0.05` into `--mat=-1=0.05`, because the value begins with a minus sign."""
    out: list[str] = []
    for word in arguments:
        if out and out[-1] in {"--mat", "--at"} and word[:1] == "-" and word[1:2].isdigit():
            out[-1] = f"{out[-1]}={word}"
        else:
            out.append(word)
    return out
