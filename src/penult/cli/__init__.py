"""The command line: parses, shows progress, prints results, sets the exit status. Heavy libraries load when a command runs."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import NoReturn

import typer

from penult.cli import analyse as _analyse
from penult.cli.fault import STOPPED, StoppedError, denied, fault_text, stop_politely

PARTS = ("calibrate", "compare", "season", "run_ups", "log", "session", "review", "share", "cache")
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


def build_analyse() -> typer.Typer:
    """Return the command line of `analyse` alone: one command, so that its usage does not say its name twice."""
    app = typer.Typer(
        name="analyse",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        add_completion=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    _analyse.register(app)
    return app


def _penult() -> None:
    """What a long or triple jump take-off is made of, measured from a phone clip."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run `penult`."""
    if arguments is None:
        _run_alone(sys.argv[1:])
    run(list(arguments))


def analyse_main(arguments: Sequence[str] | None = None) -> None:
    """Run `analyse`, the same as `penult analyse`."""
    if arguments is None:
        _run_alone(sys.argv[1:], build_analyse)
    run(list(arguments), build_analyse)


def _run_alone(arguments: list[str], made: Callable[[], typer.Typer] | None = None) -> NoReturn:
    """Run the command line and end the process at once: everything is written, and taking the libraries apart costs 0.3 s."""
    status = 0
    try:
        run(arguments, made)
    except SystemExit as left:
        status = left.code if isinstance(left.code, int) else int(left.code is not None)
    with suppress(OSError, ValueError):  # closed by who read it
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(status)


def run(arguments: list[str], made: Callable[[], typer.Typer] | None = None) -> None:
    """Run the command line, turning every error into a message and an exit status: 2, 3, 1 (see penult.errors) or 130."""
    from penult.errors import PenultError

    # matrices here are small: a second thread for them waits on its core, at the cost of those that decode and look
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        stop_politely()
        (made or build)()(joined_negative(arguments), standalone_mode=True)
    except PenultError as error:
        _end(str(error), error.exit_status)
    except StoppedError:
        _end("stopped; nothing that was there before has been changed", STOPPED)
    except BrokenPipeError:  # the reader of our table has closed it: nobody is there to be told
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except PermissionError as error:
        words = denied(error)
        _end(str(words), words.exit_status)
    except Exception as error:  # the one place where the unforeseen becomes words
        _end(fault_text(error), 1)


def _end(words: str, status: int) -> NoReturn:
    """Say why on standard error, whatever its encoding, and leave."""
    out = sys.stderr
    text = f"error: {words}\n"
    out.write(text.encode(out.encoding or "utf-8", errors="backslashreplace").decode(out.encoding or "utf-8"))
    sys.exit(status)


def joined_negative(arguments: list[str]) -> list[str]:
    """Join `--mat -1=0.05` into `--mat=-1=0.05`, because the value begins with a minus sign."""
    out: list[str] = []
    for word in arguments:
        if out and out[-1] in {"--mat", "--at"} and word[:1] == "-" and word[1:2].isdigit():
            out[-1] = f"{out[-1]}={word}"
        else:
            out.append(word)
    return out
