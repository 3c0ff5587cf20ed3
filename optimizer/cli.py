"""The command ``boxwright``: check, evaluate, report, and the commands of other files."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import Any

import click

from optimizer import cli_build, cli_measured
from optimizer.cli_ceiling import ceiling
from optimizer.cli_options import INTERRUPTED, BadOption, Bounded, examples, talk_options, unwritable
from optimizer.cli_play import play
from optimizer.cli_scale import scale
from optimizer.cli_search import search
from optimizer.cli_spread import spread
from optimizer.cli_sweep import sweep

BAD_INPUT = 2
COMMAND_LINE = "command line"


def _version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from importlib import metadata

        try:
            click.echo(f"boxwright {metadata.version('boxwright')}")
        except metadata.PackageNotFoundError:
            click.echo("boxwright, not installed")
        context.exit()


@click.group(
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=examples(
        "boxwright check configs/demo.toml                  what the season says",
        "boxwright search configs/demo.toml --effort quick  a first answer, in runs/demo-1",
        "boxwright build runs/demo-1 --candidate 1          parts to print",
        "boxwright search --help                            options and examples",
    ),
)
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Print the version."
)
def cli() -> None:
    """Find loudspeaker enclosures for a season's rules, and evaluate given ones.

    Results go to standard output or the run folder, progress and faults to standard error.
    Exit status: 0 done, 1 nothing found, 2 bad input, 130 interrupted.
    """


@cli.command(
    epilog=examples("boxwright check configs/demo.toml", "boxwright check configs/demo.toml --json")
)
@click.argument("config", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON, every default filled in.")
def check(config: Path, as_json: bool) -> None:
    """Check the season file CONFIG and print what it says."""
    import json

    from optimizer.cli_output import season_record, season_summary
    from optimizer.graphs import season_graphs
    from optimizer.season import load_season

    season = load_season(config)
    graphs = season_graphs(season)
    if as_json:
        click.echo(json.dumps(season_record(season, graphs), indent=1, allow_nan=False))
    else:
        click.echo(season_summary(season, graphs))


@cli.command(
    epilog=examples(
        "boxwright evaluate configs/demo.toml mine.toml other.toml",
        "boxwright evaluate configs/demo.toml runs/demo-1/candidates/01/design.toml --json",
        "boxwright evaluate configs/demo.toml mine.toml --drive-v 2.83 --frequencies 20:400:200",
    )
)
@click.argument("config", type=click.Path(path_type=Path))
@click.argument("designs", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="DESIGN...")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list, one object a design.")
@click.option("--drive-v", type=Bounded(1e-6, 1e5, "V"), help="Drive, rms, instead of the largest permitted.")
@click.option("--frequencies", metavar="START:STOP:COUNT", help="Log-spaced Hz instead of the tones.")
def evaluate(
    config: Path, designs: tuple[Path, ...], as_json: bool, drive_v: float | None, frequencies: str | None
) -> None:
    """Evaluate each design file DESIGN under the season CONFIG."""
    import json

    from optimizer.cli_output import evaluation_text
    from optimizer.evaluation import BadFrequency, evaluate_files
    from optimizer.season import load_season

    hz = None if frequencies is None else parse_frequencies(frequencies)
    season = load_season(config)
    try:
        results = evaluate_files(season, designs, hz, drive_v)
    except BadFrequency as error:
        raise BadOption("--frequencies", str(error)) from None
    if as_json:
        click.echo(json.dumps(results, indent=1, allow_nan=False))
    else:
        click.echo("\n\n".join(evaluation_text(one["design"], one, season.scale) for one in results))


@cli.command(epilog=examples("boxwright report runs/demo-1", "boxwright report runs/demo-1 runs/demo-2"))
@click.argument("runs", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="RUN...")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Page that compares several. Default: beside the first."
)
@click.option("--public", is_flag=True, help="Write public.html and public.json without any dimension.")
@talk_options
def report(runs: tuple[Path, ...], out: Path | None, public: bool, talk: str | None) -> None:
    """Draw figures and report of finished run folders again.

    Several are also compared in one page. With --public only a summary for the league's page is written.
    """
    from optimizer.comparison import COMPARISON, write_comparison
    from optimizer.progress import progress_bar
    from optimizer.public_report import write_public
    from optimizer.run_folder import draw_run, read_run

    if out is not None and len(runs) < 2:
        raise BadOption("--out", "names a page that compares runs, and there is one run only")
    if out is not None and out.is_dir():
        raise BadOption("--out", f"{out} is a folder; give the name of a page")
    if out is not None and public:
        raise BadOption("--out", "names a page that compares runs, which --public does not write")
    read = [read_run(folder) for folder in runs]
    for run in read:
        try:
            if public:
                click.echo("\n".join(write_public(run)))
                continue
            with progress_bar("drawing", talk) as progress:
                draw_run(run, progress)
        except OSError as error:
            raise unwritable("RUN", run.folder, error) from None
        click.echo(str(run.folder / "report.html"))
    if len(read) > 1 and not public:
        place = out or read[0].folder.resolve().parent / COMPARISON
        try:
            write_comparison(read, place)
        except OSError as error:
            raise unwritable("--out", place, error) from None
        click.echo(str(place))


cli.add_command(search)
cli.add_command(ceiling)
cli.add_command(spread)
cli.add_command(sweep)
cli.add_command(play)
cli.add_command(scale)
cli.add_command(cli_build.build)
cli.add_command(cli_build.verify)
cli.add_command(cli_build.inspect)
cli.add_command(cli_measured.derive)
cli.add_command(cli_measured.measured)


def parse_frequencies(text: str) -> Any:
    """Frequencies of a ``start:stop:count`` text.

    Parameters
    ----------
    text : str
        First and last frequency and how many, log-spaced [text].

    Returns
    -------
    ndarray, shape (count,)
        Frequencies [Hz].

    Raises
    ------
    BadOption
        The text has another form, or its numbers cannot be used.
    """
    import numpy as np

    parts = text.split(":")
    try:
        start, stop, count = float(parts[0]), float(parts[1]), int(parts[2])
    except (ValueError, IndexError):
        parts = []
    if len(parts) != 3:
        raise BadOption("--frequencies", f"must be START:STOP:COUNT such as 20:400:200, is {text!r}")
    if not 1.0 <= start <= stop <= 20000.0:
        message = f"start and stop must rise within 1 to 20000 Hz, are {start:g} and {stop:g}"
        raise BadOption("--frequencies", message)
    if not 1 <= count <= 100000 or (count == 1 and start != stop):
        raise BadOption("--frequencies", f"count must be 2 to 100000, is {count}")
    return np.geomspace(start, stop, count)


def main(arguments: list[str] | None = None) -> None:
    """Run the command and leave with its exit status; faults are lines, never a traceback."""
    from optimizer.faults import ConfigError, Fault

    try:
        status = cli.main(arguments, prog_name="boxwright", standalone_mode=False)
        sys.stdout.flush()
        sys.exit(status if isinstance(status, int) else 0)
    except ConfigError as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        sys.exit(BAD_INPUT)
    except click.UsageError as error:
        fault = Fault(COMMAND_LINE, 1, _key_of(error), _message_of(error))
        click.echo(str(fault), err=True)
        sys.exit(BAD_INPUT)
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # whoever read has gone; nothing is left to flush
        sys.exit(0)
    except OSError as error:
        place = error.filename2 or error.filename
        if place is None:  # a stream, as on a full disk
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        click.echo(f"{place or 'standard output'}: {error.strerror or error}", err=True)
        sys.exit(BAD_INPUT)
    except RuntimeError as error:
        from optimizer.run_designs import InternalError

        if not isinstance(error, InternalError):
            raise
        click.echo(f"internal error: {error}", err=True)
        sys.exit(1)


_KINDS = {"float": "number", "integer": "whole number"}
_INVALID = re.compile(r"is not a valid (float|integer)( range)?")


def _message_of(error: click.UsageError) -> str:
    """What is wrong, without the name of the option, which stands before it."""
    if isinstance(error, click.MissingParameter):
        command = error.ctx.command_path if error.ctx else "boxwright"
        return f"missing; see {command} --help"
    if isinstance(error, click.BadParameter) and error.param is not None:
        return _INVALID.sub(lambda found: f"is not a {_KINDS[found[1]]}", error.message)
    return error.format_message()


def _key_of(error: click.UsageError) -> str:
    if isinstance(error, BadOption):
        return error.option
    if isinstance(error, click.NoSuchOption):
        return error.option_name
    parameter = getattr(error, "param", None)
    if parameter is not None:
        is_option = parameter.param_type_name == "option"
        return str(parameter.opts[0] if is_option else parameter.human_readable_name)
    return error.ctx.info_name or "boxwright" if error.ctx else "boxwright"


if __name__ == "__main__":
    main()
