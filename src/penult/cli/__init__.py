"""The command line: parses, shows progress, prints results, sets the exit status. Heavy libraries load when a command runs.

Nothing is loaded at the top that takes time: until `main` has begun, Ctrl-C gets Python's own answer.
"""

from __future__ import annotations

import os
import sys

try:
    from _signal import SIGINT, signal  # type: ignore[import-not-found]  # without the names that take longest of all here
except ImportError:
    from signal import SIGINT, signal

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import FrameType
    from typing import NoReturn

    import typer

PARTS = (
    "calibrate",
    "compare",
    "season",
    "run_ups",
    "log",
    "session",
    "review",
    "share",
    "film",
    "sheet",
    "cache",
    "help",
)
"""Modules of further commands, each with `register(app)`; one that is not there yet is passed over."""


def build() -> typer.Typer:
    """Return the command line with every command."""
    import importlib.util

    import typer

    from penult.cli import analyse as _analyse

    globals()["typer"] = typer  # for the annotation of `_penult`, which is read when the program is put together
    app = typer.Typer(
        name="penult",
        help="What a long or triple jump take-off is made of, measured from a phone clip.",
        no_args_is_help=False,
        invoke_without_command=True,
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
    import typer

    from penult.cli import analyse as _analyse

    app = typer.Typer(
        name="analyse",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        add_completion=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    _analyse.register(app)
    return app


def _penult(context: typer.Context) -> None:
    """What a long or triple jump take-off is made of, measured from a phone clip."""
    if context.invoked_subcommand is None:
        from penult.cli.start import start

        start()


def main(arguments: Sequence[str] | None = None) -> None:
    """Run `penult`."""
    _stop_at_once_until_it_runs()
    if arguments is None:
        _run_alone(sys.argv[1:])
    run(list(arguments))


def analyse_main(arguments: Sequence[str] | None = None) -> None:
    """Run `analyse`, the same as `penult analyse`."""
    _stop_at_once_until_it_runs()
    if arguments is None:
        _run_alone(sys.argv[1:], build_analyse)
    run(list(arguments), build_analyse)


def _stop_at_once_until_it_runs() -> None:
    """While libraries load there is nothing to clear up: Ctrl-C ends the process then and there, with our own word."""
    signal(SIGINT, _stopped_early)


def _stopped_early(_number: int, _frame: FrameType | None) -> None:
    os.write(2, b"error: stopped; nothing that was there before has been changed\n")
    os._exit(130)


def _run_alone(arguments: list[str], made: Callable[[], typer.Typer] | None = None) -> NoReturn:
    """Run the command line and end the process at once: everything is written, and taking the libraries apart costs 0.3 s."""
    status = 0
    try:
        run(arguments, made)
    except SystemExit as left:
        status = left.code if isinstance(left.code, int) else int(left.code is not None)
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):  # closed by who read it, or a full disk
            status = status or 1
    os._exit(status)


def run(arguments: list[str], made: Callable[[], typer.Typer] | None = None) -> None:
    """Run the command line, turning every error into a message and an exit status: 2, 3, 1 (see penult.errors) or 130."""
    import errno

    from penult.cli.fault import STOPPED, StoppedError, denied, fault_text
    from penult.errors import PenultError

    # matrices here are small: a second thread for them waits on its core, at the cost of those that decode and look
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        _open_outputs()
        program = (made or build)()
        stop_politely()
        program(joined_negative(arguments), standalone_mode=True)
    except PenultError as error:
        _end(str(error), error.exit_status)
    except StoppedError:
        _end("stopped; nothing that was there before has been changed", STOPPED)
    except BrokenPipeError:  # the reader of our table has closed it: nobody is there to be told
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except (MemoryError, ImportError) as error:  # a library that finds no room says that it cannot be loaded
        from penult.app.address_space import limit_bytes, too_small

        limit = limit_bytes()
        _end(fault_text(error) if limit is None else str(too_small(limit)), 1 if limit is None else 2)
    except PermissionError as error:
        words = denied(error)
        _end(str(words), words.exit_status)
    except OSError as error:
        if error.errno != errno.ENOSPC or error.filename is not None:
            _end(fault_text(error), 1)
        _end("what is to be printed cannot be written: the disk is full", 2)
    except Exception as error:  # the one place where the unforeseen becomes words
        _end(fault_text(error), 1)


def stop_politely() -> None:
    """From here on Ctrl-C takes what is half built away with it."""
    from penult.cli import fault

    fault.stop_politely()


def _open_outputs() -> None:
    """Let anything be said: to outputs that were closed before we began, and names that are no text of the terminal's."""
    import io

    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by who started us ('>&-')
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, PTH123 - open until the end
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


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
