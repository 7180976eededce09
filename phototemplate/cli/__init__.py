"""The command line: parse, call, show. Only this package and ``web`` print or exit.

Each command is a module-level function in one of the modules of this package; ``COMMANDS`` lists them in the order that
``phototemplate --help`` shows. Heavy libraries are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import io
import logging
import os
import sys
from typing import Annotated

import typer

from phototemplate import __version__
from phototemplate.cli.app import app as app_
from phototemplate.cli.calibrate import calibrate
from phototemplate.cli.measure import demo, hand_out, measure, new
from phototemplate.cli.propose import propose
from phototemplate.cli.sheets import sheets
from phototemplate.cli.slab import slab
from phototemplate.cli.studies import batch, check_wall, check_yourself, estimate, plan, prices
from phototemplate.errors import OutputError, PhototemplateError
from phototemplate.numerics.blas_threads import one_thread

COMMANDS = (
    demo, sheets, new, propose, measure, hand_out, check_wall, check_yourself, estimate, prices, plan, slab, batch, calibrate,
    app_,
)  # fmt: skip

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    help="Countertop templates from ordinary photos: print sheets, lay them on the cabinets, take photos, get a DXF "
    "with an uncertainty on every edge.",
    epilog="First time? Run: phototemplate demo. For one command: phototemplate COMMAND --help.",
)
for _command in COMMANDS:
    app.command(name=_command.__name__.rstrip("_").replace("_", "-"))(_command)


def _version(value: bool) -> None:
    if value:
        typer.echo(f"phototemplate {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    verbose: Annotated[int, typer.Option("-v", "--verbose", count=True, help="Say more of what happens; -vv all of it.")] = 0,
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")] = False,
) -> None:
    level = (logging.WARNING, logging.INFO, logging.DEBUG)[min(verbose, 2)]
    logging.basicConfig(level=level, format="%(levelname).1s %(name)s: %(message)s", stream=sys.stderr)
    for chatty in ("matplotlib", "PIL", "ezdxf", "fontTools"):
        logging.getLogger(chatty).setLevel(max(level, logging.INFO))


def main() -> None:
    """Entry point. An error a user can cause ends in one sentence; anything else is our bug and shows its trace."""
    one_thread()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # not every terminal can show an arrow
    try:
        app()
    except PhototemplateError as exc:
        typer.secho(f"phototemplate: {exc}", err=True, fg=typer.colors.RED)
        sys.exit(exc.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except OSError as exc:  # a file or folder that the system does not let be read or written
        place = f"{exc.filename}: " if exc.filename else ""
        typer.secho(f"phototemplate: {place}{exc.strerror or exc}; free the disk or change its permissions.", err=True,
                    fg=typer.colors.RED)
        sys.exit(OutputError.exit_code)
