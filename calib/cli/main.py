"""The command line: reads the words, calls the wings, and turns their errors into exit statuses.

Only what the named command needs is imported and declared, so that ``calib --help`` answers at once. The options of
``calib add`` are made from the record's own fields, one by one, which is why the parser is the standard library's.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NoReturn

import calib
from calib.cli import (
    bench_commands,
    exchange_commands,
    fit_commands,
    page_command,
    register_commands as register,
    set_commands,
)
from calib.cli.terminal import note
from calib.errors import CannotError, InputError, visible
from calib.paths import data
from calib.register.trouble import patience

NOTHING = "nothing was written"
DONE, COULD_NOT, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130


RUN: dict[str, Callable[[argparse.Namespace], None]] = {
    "page": page_command.run,
    "fit": fit_commands.run_fit,
    "estimate": fit_commands.run_estimate,
    "add": register.run_add,
    "amend": register.run_amend,
    "withdraw": register.run_withdraw,
    "restore": register.run_put_back,
    "history": register.run_history,
    "attach": register.run_attach,
    "import": exchange_commands.run_import,
    "export": exchange_commands.run_export,
    "merge": exchange_commands.run_merge,
    "backup": exchange_commands.run_backup,
    "restore-from": exchange_commands.run_restore,
    "check": exchange_commands.run_check,
    "set-up": exchange_commands.run_set_up,
    "member": exchange_commands.run_member,
    "carry": exchange_commands.run_carry,
    "review": fit_commands.run_review,
    "leads": bench_commands.run_leads,
    "supply": set_commands.run_supply,
    "heat-run": bench_commands.run_heat_run,
    "demand": set_commands.run_demand,
    "rewind": fit_commands.run_rewind,
    "bench": bench_commands.run_bench,
    "sheet": fit_commands.run_sheet,
}
WORDS = data("cli/commands.toml")
COMMANDS: tuple[str, ...] = tuple(WORDS["command"])


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is a single line."""

    def error(self, message: str) -> NoReturn:
        self.exit(WRONG_INPUT, f"{self.prog}: {visible(message)}; see {self.prog} --help\n")


def parser(word: str) -> argparse.ArgumentParser:
    """The parser of the whole command line, with the options of one command.

    Parameters
    ----------
    word : str
        The command whose options are wanted; the others are only named.

    Returns
    -------
    argparse.ArgumentParser
        It sets ``run``, the function to call with what was parsed.
    """
    whole = _Parser(
        prog="calib",
        description="What direct current can an unmarked power transformer give? Estimates, never certifies.",
        epilog="exit status: 0 done, 1 could not be done, 2 the input is wrong (nothing was written)",
        allow_abbrev=False,
    )
    whole.add_argument("--version", action="version", version=f"calib {calib.__version__}")
    words = whole.add_subparsers(title="commands", metavar="COMMAND", dest="command", required=True)
    for name, told in WORDS["command"].items():
        part = words.add_parser(name, help=told["help"], description=told["help"], allow_abbrev=False)
        part.set_defaults(run=RUN[name])
        if name == word:
            _declare(part, told["option"])
            if name in register.TAKE_A_RECORD:
                register.declare_record(part, told["option"])
    return whole


def _declare(part: argparse.ArgumentParser, options: Mapping[str, Mapping[str, Any]]) -> None:
    """The options of one command, as ``commands.toml`` has them."""
    from calib.bench.uncertainty import ORDINARY_OHMMETER as meter

    ordinary = f"{meter.percent:g},{meter.counts:g},{meter.resolution:g}"
    for name, own in options.items():
        one = own or WORDS["shared"][name]
        said = one["help"].format(first_port=page_command.FIRST_PORT, ordinary=ordinary)
        part.add_argument(name, **{**one, "help": said})


def main(words: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    words : sequence of str, optional
        The words after ``calib``; those that the process was started with where None.

    Returns
    -------
    int
        Exit status: 0 done, 1 could not be done, 2 the input is wrong, 130 interrupted.
    """
    status = DONE
    try:
        status = _run(sys.argv[1:] if words is None else list(words))
        sys.stdout.flush()
    except InputError as error:
        return _complain(WRONG_INPUT, *map(str, error.faults))
    except CannotError as error:
        return _complain(COULD_NOT, f"calib: {error}")
    except BrokenPipeError:
        # The reader had enough. What is still in the buffer must not be written at exit, which would complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        return _complain(COULD_NOT, f"calib: {_what_failed(error)}")
    except KeyboardInterrupt as stop:
        return _complain(INTERRUPTED, f"calib: interrupted; {str(stop) or NOTHING}")
    return status


def _run(words: list[str]) -> int:
    try:
        asked = parser(words[0] if words else "").parse_args(words)
    except SystemExit as told:  # help, the version, or a wrong word: the parser has said it already
        return int(told.code or DONE)
    with patience(tell=note):
        asked.run(asked)
    return DONE


def _complain(status: int, *lines: str) -> int:
    for line in lines:
        sys.stderr.write(visible(line) + "\n")
    return status


def _what_failed(error: OSError) -> str:
    why = error.strerror or str(error) or type(error).__name__
    return f"{error.filename}: {why}" if error.filename else why
