"""Commands: demo, listen, export, gather, check, restore, notebooks. Thin: all work is done below."""

from __future__ import annotations

import argparse
import io
import os
import sys
import warnings
from collections.abc import Sequence

from pianolab.cli.casebooks import add_check, add_demo, add_export, add_gather, add_notebooks, add_restore
from pianolab.cli.listen import add_listen
from pianolab.cli.parts import OneLineParser
from pianolab.errors import PianolabError
from pianolab.release import VERSION

FINE, BAD_INPUT, INTERRUPTED = 0, 2, 130


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    parser = OneLineParser(prog="pianolab", description="Judge used pianos and compare the shortlist.")
    parser.add_argument("--version", action="version", version=f"pianolab {VERSION}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for add in (add_demo, add_listen, add_export, add_gather, add_check, add_restore, add_notebooks):
        add(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit code is 0, 2 for bad input (one line on stderr) or 130 when interrupted."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without some signs still shows all the others
            stream.reconfigure(errors="backslashreplace")
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    try:
        args = build_parser().parse_args(argv)
        args.run(args)
        sys.stdout.flush()
    except PianolabError as error:
        return _say(str(error), BAD_INPUT)
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] == "pianolab":
            raise
        return _say(
            f"pianolab: got no package {error.name}, need it for this command. Install pianolab again.",
            BAD_INPUT,
        )
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return FINE
    except OSError as error:
        return _say(f"{error.filename or 'pianolab'}: {(error.strerror or str(error)).lower()}.", BAD_INPUT)
    except MemoryError:
        return _say(
            "pianolab: got too long a recording for this computer's memory, need a shorter one.", BAD_INPUT
        )
    except KeyboardInterrupt:
        return _say("pianolab: interrupted; nothing was left half-written.", INTERRUPTED)
    return FINE


def _say(line: str, code: int) -> int:
    print(" ".join(line.split()), file=sys.stderr)
    return code
