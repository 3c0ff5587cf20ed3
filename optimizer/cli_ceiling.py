"""The command ``boxwright ceiling``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli_options import BadOption, examples, new_folder, season_with, talk_options, workers_option

if TYPE_CHECKING:
    from optimizer.known import Known
    from optimizer.season import Season


@click.command(
    epilog=examples(
        "boxwright ceiling configs/demo.toml --run runs/demo-1",
        "boxwright ceiling configs/demo.toml --effort quick --out runs/first",
        "boxwright ceiling configs/demo.toml --run runs/demo-1 --json > ceiling.json",
    )
)
@click.argument("config", type=click.Path(path_type=Path))
@click.option(
    "--run", "run_folder", type=click.Path(path_type=Path), help="Finished run folder of the season."
)
@click.option("--out", type=click.Path(path_type=Path), help="New or empty folder for the search's run.")
@workers_option
@click.option("--effort", type=click.Choice(["quick", "normal", "thorough"]), help="Instead of the season's.")
@click.option("--audit", "audited", is_flag=True, help="Also try every rule, tone and other driver.")
@click.option("--json", "as_json", is_flag=True, help="Print the ceiling as JSON.")
@talk_options
def ceiling(
    config: Path,
    run_folder: Path | None,
    out: Path | None,
    workers: int,
    effort: str | None,
    audited: bool,
    as_json: bool,
    talk: str | None,
) -> None:
    """How much more the season CONFIG could give, and at what price.

    Bounds, prices of its rules, and the best box of every type.

    Starts from a finished run with --run, else searches the season first. With --audit: what would change
    who wins, and the season with each of its [[driver_options]]. A run folder gets all as ceiling.json.
    """
    import json

    from optimizer.audit import audit
    from optimizer.audit_words import audit_sentences, audit_text
    from optimizer.ceiling import ceiling as find_ceiling
    from optimizer.ceiling_output import ceiling_text
    from optimizer.files import write_json
    from optimizer.known import known_of_run
    from optimizer.progress import QUIET, progress_bar
    from optimizer.run_folder import CEILING
    from optimizer.tasks import TaskRunner
    from optimizer.variants import Variant

    if run_folder is not None and out is not None:
        raise BadOption("--out", "there is nothing to write where --run gives a finished run")
    season = season_with(config, effort, None)
    if run_folder is not None:
        known = known_of_run(run_folder, season)
    else:
        known = _searched(season, config, out, workers, talk)
    if not known:
        click.echo("No design that fits was found, so there is no ceiling.", err=True)
        sys.exit(1)
    with progress_bar("ceiling", talk) as progress:
        found = find_ceiling(season, known, progress)
    text = ceiling_text(season.name, found)
    if audited:
        with progress_bar("audit", talk) as progress:
            found["audit"] = audit(season, Variant(TaskRunner(season)), known, progress)
        found["audit"]["sentences"] = audit_sentences(found)
        text += "\n\n" + audit_text(found)
    folder = run_folder or out
    if folder is not None:
        try:
            write_json(folder / CEILING, found)
        except OSError as error:
            words = f"cannot write to {folder}: {error.strerror}"
            raise BadOption("--out" if run_folder is None else "--run", words) from None
        if talk != QUIET:
            click.echo(f"written to {folder / CEILING}; boxwright report {folder} shows it", err=True)
    click.echo(json.dumps(found, indent=1, allow_nan=False) if as_json else text)


def _searched(
    season: Season, config: Path, out: Path | None, workers: int, talk: str | None
) -> list[Known]:
    """Best boxes of a search whose run folder is kept only where one is asked for."""
    from tempfile import TemporaryDirectory

    from optimizer.known import known_of_result
    from optimizer.progress import progress_bar
    from optimizer.run_folder import draw_run, write_run
    from optimizer.searching import run_search
    from optimizer.study import StorageError

    with TemporaryDirectory(prefix="boxwright-") as temporary:
        folder = Path(temporary) if out is None else new_folder(out, config)
        try:
            with progress_bar("searching", talk) as progress:
                result = run_search(
                    season, folder, workers=workers, progress=progress, plans=False, prices=False
                )
        except StorageError as error:
            raise BadOption("--out", str(error)) from None
        if out is not None:
            draw_run(write_run(folder, season, result))
    if result.interrupted:
        raise click.Abort
    return known_of_result(result)
