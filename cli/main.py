"""The levelsill command; it alone turns an error into one line and an exit code."""

from __future__ import annotations

import importlib
import logging
import os
import sys
import warnings

import click

from cli import options
from cli.slips import in_words, no_command

#: Each command and the line that help shows for it; its module is loaded only when it runs.
COMMANDS = {
    "survey": "What an elevation raster holds, and what to beware of.",
    "shed": "The ground that drains to a point, and its runoff.",
    "swale": "Lay out one swale on contour: size, earth, sill, catch.",
    "basin": "What a basin holds, and what it catches of a storm.",
    "soak": "How fast the ground takes water, from a hole test or by default.",
    "rain": "How much it rains, how often and how hard, from a record or a table.",
    "start": "A new site file with comments, or the demo site.",
    "check": "Read a site file and say what is wrong; change nothing.",
    "bench": "Lay works out on the map in a browser; see what each catches.",
    "plan": "The whole plan: accounts, map, report, setting out, layers.",
    "suggest": "Where works should go, and how far any plan is from the best.",
    "prove": "A storm run over the ground as it will be dug.",
    "asbuilt": "Was it dug right? Surveyed levels beside the plan's.",
    "district": "Many properties on one ground: water, best places, a ranking.",
}


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        found: click.Command = getattr(importlib.import_module(f"cli.{cmd_name}"), cmd_name)
        return found

    def resolve_command(self, ctx: click.Context, args: list[str]
                        ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            ctx.fail(no_command(args[0], COMMANDS))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Quick questions straight from a raster"):
            formatter.write_dl([(name, COMMANDS[name]) for name in
                                ("survey", "shed", "swale", "basin")])
        with formatter.section("Quick questions of rain and soil"):
            formatter.write_dl([(name, COMMANDS[name]) for name in ("soak", "rain")])
        with formatter.section("The whole job, from a site file"):
            formatter.write_dl([(name, COMMANDS[name]) for name in
                                ("start", "check", "bench", "plan", "suggest",
                                 "prove", "asbuilt")])
        with formatter.section("Many properties at once"):
            formatter.write_dl([(name, COMMANDS[name]) for name in ("district",)])


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"],
                                          "max_content_width": 96})
@click.version_option(package_name="levelsill")
def levelsill() -> None:
    """Plan a property's rain water and earthworks on its elevation raster.

    Figures are a planning aid. Local codes and licensed people come first, above all where
    water could reach a house, a road or a neighbour.
    """


def run() -> None:
    """Run the command; a person's mistake is one sentence on stderr and exit code 2."""
    from terrain.errors import InputError, InputErrors

    # What libraries mutter is not for the person; what matters becomes a note or an error.
    warnings.simplefilter("ignore")
    logging.getLogger().addHandler(logging.NullHandler())
    try:
        levelsill(standalone_mode=False)
        sys.stdout.flush()
        for line in options.BARE:
            click.echo(line, err=True)
    except InputErrors as error:
        for one in error.each[:-1]:
            _say(str(one))
        _end(str(error.each[-1]), 2)
    except InputError as error:
        _end(str(error), 2)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        sys.exit(0)
    except click.ClickException as error:
        what = in_words(error, sys.argv[1:])
        ctx = getattr(error, "ctx", None)
        help_for = ctx.command_path if ctx is not None else "levelsill"
        _end(f"{what}. See: {help_for} --help", 2)
    except (click.Abort, KeyboardInterrupt):
        _end("Stopped; nothing was left half-written.", 130)
    except MemoryError:
        _end("The raster is too large for this machine's memory. Cut it to the property and the "
             "slopes above it.", 2)
    except Exception as error:
        if isinstance(error, BrokenPipeError):
            # Nobody reads what is printed any more.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(0)
        if os.environ.get("LEVELSILL_TRACE"):
            raise
        _end(f"This is a fault of levelsill itself ({type(error).__name__}: {error}); nothing was "
             "left half-written. Please report it with the command you gave and what it prints "
             "when LEVELSILL_TRACE=1 is set.", 1)


def _say(sentence: str) -> None:
    click.echo(f"levelsill: {' '.join(sentence.split())}", err=True)


def _end(sentence: str, code: int) -> None:
    _say(sentence)
    sys.exit(code)
