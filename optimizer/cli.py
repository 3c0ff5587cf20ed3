"""The command ``boxwright``: check, evaluate, search, report."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer import cli_build

if TYPE_CHECKING:
    from models.design import DesignBatch
    from optimizer.faults import Fault
    from optimizer.season import Season

BAD_INPUT = 2
INTERRUPTED = 130
COMMAND_LINE = "command line"


class BadOption(click.UsageError):
    """An option's value that cannot be used."""

    def __init__(self, option: str, message: str) -> None:
        super().__init__(message)
        self.option = option


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
    judge = Judge(season.rules, hz)
    results = [
        {"design": str(path)} | evaluation(judge, batch, drive_v)[0]
        for path, batch in zip(designs, batches, strict=True)
    ]
    if as_json:
        click.echo(json.dumps(results, indent=1, allow_nan=False))
    else:
        click.echo("\n\n".join(evaluation_text(one["design"], one, season.scale) for one in results))


@cli.command()
@click.argument("config", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), help="New or empty folder. Default: runs/NAME-NUMBER."
)
@click.option("--workers", type=int, default=os.cpu_count() or 1, show_default="all cores", help="Processes.")
@click.option("--effort", type=click.Choice(["quick", "normal", "thorough"]), help="Instead of the season's.")
@click.option("--seed", type=int, help="Instead of the season's.")
@click.option("--json", "as_json", is_flag=True, help="Print run and candidates as JSON.")
def search(
    config: Path, out: Path | None, workers: int, effort: str | None, seed: int | None, as_json: bool
) -> None:
    """Search the season CONFIG and write a run folder."""
    import json

    from optimizer.cli_output import search_text
    from optimizer.progress import progress_bar
    from optimizer.run_folder import draw_run, write_run
    from optimizer.search import run_search

    if workers < 1:
        raise BadOption("--workers", f"must be at least 1, is {workers}")
    if seed is not None and not 0 <= seed < 2**63:
        raise BadOption("--seed", f"must be 0 to 2**63 - 1, is {seed}")
    season = _season_with(config, effort, seed)
    folder = _new_folder(out, config)
    with progress_bar("searching") as progress:
        result = run_search(season, folder, workers=workers, progress=progress)
    try:
        run = write_run(folder, season, result)
        with progress_bar("drawing") as progress:
            draw_run(run, progress)
    except OSError as error:
        raise BadOption("--out", f"cannot write to {folder}: {error.strerror}") from None
    if as_json:
        content = {"folder": str(folder), "run": run.record, "candidates": run.candidates}
        click.echo(json.dumps(content, indent=1))
    else:
        click.echo(search_text(result, str(folder)))
    if result.interrupted:
        click.echo("interrupted: the folder holds what was found until then", err=True)
        sys.exit(INTERRUPTED)
    if not result.candidates:
        sys.exit(1)


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


def _season_with(config: Path, effort: str | None, seed: int | None) -> Season:
    """Season with some search settings from the command line; its hash is that of the changed season."""
    from optimizer.season import load_season, season_from_data

    season = load_season(config)
    changes = {key: value for key, value in (("effort", effort), ("seed", seed)) if value is not None}
    if not changes:
        return season
    return season_from_data(season.source | {"search": season.source["search"] | changes}, config)


def _new_folder(out: Path | None, config: Path) -> Path:
    """Make the run folder; refuse one that holds anything."""
    try:
        if out is None:
            number = 1
            while (folder := Path("runs") / f"{config.stem}-{number}").exists():
                number += 1
            folder.mkdir(parents=True)
            return folder
        out.mkdir(parents=True, exist_ok=True)
        if any(out.iterdir()):
            raise BadOption("--out", f"{out} is not empty; nothing was written")
        (out / ".writable").touch()
        (out / ".writable").unlink()
        return out
    except FileExistsError:
        raise BadOption("--out", f"{out} is not a folder; nothing was written") from None
    except OSError as error:
        raise BadOption("--out", f"cannot write to {out or 'runs'}: {error.strerror}") from None


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
