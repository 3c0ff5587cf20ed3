"""The command ``boxwright``: check, evaluate, report, and the commands of other files."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer import cli_build
from optimizer.cli_ceiling import ceiling
from optimizer.cli_options import INTERRUPTED, BadOption
from optimizer.cli_search import search
from optimizer.cli_sweep import sweep

if TYPE_CHECKING:
    from models.design import DesignBatch
    from optimizer.faults import Fault

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


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Print the version."
)
def cli() -> None:
    """Find loudspeaker enclosures for a season's rules, and evaluate given ones.

    Results go to standard output or the run folder, progress and faults to standard error.
    Exit status: 0 done, 1 nothing found, 2 bad input, 130 interrupted.
    """


@cli.command()
@click.argument("config", type=click.Path(path_type=Path))
def check(config: Path) -> None:
    """Check the season file CONFIG and print what it says."""
    from optimizer.cli_output import season_summary
    from optimizer.graphs import season_graphs
    from optimizer.season import load_season

    season = load_season(config)
    click.echo(season_summary(season, season_graphs(season)))


@cli.command()
@click.argument("config", type=click.Path(path_type=Path))
@click.argument("designs", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="DESIGN...")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list, one object a design.")
@click.option("--drive-v", type=float, metavar="V", help="Drive in V rms instead of the largest permitted.")
@click.option("--frequencies", metavar="START:STOP:COUNT", help="Log-spaced Hz instead of the tones.")
def evaluate(
    config: Path, designs: tuple[Path, ...], as_json: bool, drive_v: float | None, frequencies: str | None
) -> None:
    """Evaluate each design file DESIGN under the season CONFIG."""
    import json

    from models.cabin_modes import highest_frequency
    from models.score import Judge
    from models.spaces import Cabin
    from optimizer.cli_output import evaluation_text
    from optimizer.design_file import read_design
    from optimizer.evaluation import evaluation
    from optimizer.faults import ConfigError
    from optimizer.season import load_season

    if drive_v is not None and not 1e-6 <= drive_v <= 1e5:
        raise BadOption("--drive-v", f"must be 1e-06 to 100000 V, is {drive_v:g}")
    hz = None if frequencies is None else parse_frequencies(frequencies)
    season = load_season(config)
    if hz is not None:
        for space in season.rules.spaces:
            if isinstance(space, Cabin):
                top = highest_frequency(space.size, season.rules.air.sound_speed)
                if hz.max() > top:
                    words = f"{hz.max():g} Hz is above {top:.0f} Hz, where the model of {space.name!r} ends"
                    raise BadOption("--frequencies", words)
    batches: list[DesignBatch] = []
    faults: list[Fault] = []
    for path in designs:
        try:
            batches.append(read_design(path, season.rules, hz))
        except ConfigError as error:
            faults += error.faults
    if faults:
        raise ConfigError(faults)
    judge = Judge(season.rules, hz, backend="numpy")
    results = [
        {"design": str(path)} | evaluation(judge, batch, drive_v)[0]
        for path, batch in zip(designs, batches, strict=True)
    ]
    if as_json:
        click.echo(json.dumps(results, indent=1, allow_nan=False))
    else:
        click.echo("\n\n".join(evaluation_text(one["design"], one, season.scale) for one in results))


@cli.command()
@click.argument("runs", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="RUN...")
def report(runs: tuple[Path, ...]) -> None:
    """Draw figures and report of finished run folders again."""
    from optimizer.run_folder import draw_run, read_run

    for run in [read_run(folder) for folder in runs]:
        try:
            draw_run(run)
        except OSError as error:
            raise BadOption("RUN", f"cannot write to {run.folder}: {error.strerror}") from None
        click.echo(str(run.folder / "report.html"))


cli.add_command(search)
cli.add_command(ceiling)
cli.add_command(sweep)
cli.add_command(cli_build.build)
cli.add_command(cli_build.verify)
cli.add_command(cli_build.inspect)


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
        fault = Fault(COMMAND_LINE, 1, _key_of(error), error.format_message())
        click.echo(str(fault), err=True)
        sys.exit(BAD_INPUT)
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # whoever read has gone; nothing is left to flush
        sys.exit(0)
    except RuntimeError as error:
        from optimizer.run_folder import InternalError

        if not isinstance(error, InternalError):
            raise
        click.echo(f"internal error: {error}", err=True)
        sys.exit(1)


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
