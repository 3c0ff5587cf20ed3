"""The command ``boxwright search``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from optimizer.cli_options import (
    INTERRUPTED,
    SEED,
    BadOption,
    examples,
    new_folder,
    old_folder,
    season_with,
    talk_options,
    unwritable,
    workers_option,
)


@click.command(
    epilog=examples(
        "boxwright search configs/demo.toml --effort quick",
        "boxwright search configs/demo.toml --out runs/mine",
        "boxwright search configs/demo.toml --out runs/mine --resume",
        "boxwright search configs/demo.toml --storage /shared/league.journal",
        "boxwright search configs/demo.toml --quiet --json > found.json",
    )
)
@click.argument("config", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), help="New or empty folder. Default: runs/NAME-NUMBER."
)
@workers_option
@click.option("--effort", type=click.Choice(["quick", "normal", "thorough"]), help="Instead of the season's.")
@click.option("--seed", type=SEED, help="Instead of the season's.")
@click.option(
    "--resume", is_flag=True, help="Go on with a search that was stopped, in --out or the last run."
)
@click.option("--storage", metavar="URL", help="Database URL or journal file that several searches share.")
@click.option("--study", "study_name", metavar="NAME", help="Name in --storage. Default: the season's name.")
@click.option("--json", "as_json", is_flag=True, help="Print run and candidates as JSON.")
@talk_options
def search(
    config: Path,
    out: Path | None,
    workers: int,
    effort: str | None,
    seed: int | None,
    resume: bool,
    storage: str | None,
    study_name: str | None,
    as_json: bool,
    talk: str | None,
) -> None:
    """Search the season CONFIG and write a run folder.

    The same command on another machine with the same --storage joins the search.
    """
    import json

    from optimizer.processes import collect_rarely, start_early

    if workers > 1:
        start_early()
    from optimizer.finishing import Finishing
    from optimizer.progress import QUIET, VERBOSE, progress_bar
    from optimizer.search_words import search_text
    from optimizer.searching import SeasonChanged, changed_keys, run_search
    from optimizer.study import StorageError

    collect_rarely()
    season = season_with(config, effort, seed)
    if storage is not None and not storage.strip():
        raise BadOption("--storage", "is empty; give a database URL or a journal file")
    if study_name is not None and storage is None:
        raise BadOption("--study", "names a study in --storage, which is not given")
    prepare_backend(silent=talk == QUIET)
    folder = old_folder(out, config, storage is not None) if resume else new_folder(out, config)
    try:
        with Finishing(folder, season) as finishing:
            with progress_bar("searching", talk) as progress:
                result = run_search(
                    season,
                    folder,
                    workers=workers,
                    progress=progress,
                    storage=storage,
                    study_name=study_name,
                    finishing=finishing,
                )
            with progress_bar("drawing", talk) as progress:
                run = finishing.finish(result, progress)
    except StorageError as error:
        raise BadOption("--storage" if storage else "--out", str(error)) from None
    except SeasonChanged as error:
        raise changed_keys(config, error) from None
    except OSError as error:
        raise unwritable("--out", folder, error) from None
    if as_json:
        content = {"folder": str(folder), "run": run.record, "candidates": run.candidates}
        click.echo(json.dumps(content, indent=1))
    else:
        click.echo(search_text(run, verbose=talk == VERBOSE))
    if result.interrupted:
        click.echo("interrupted: the folder holds what was found until then", err=True)
        sys.exit(INTERRUPTED)
    if not result.candidates:
        sys.exit(1)


def prepare_backend(silent: bool) -> None:
    """Refuse a back end that is not there, and say where compiling will take a while."""
    from models.backend import VARIABLE, choose_backend, code_folder
    from optimizer.warm_up import COMPLETE

    try:
        backend = choose_backend()
    except ValueError as error:
        raise BadOption(VARIABLE, str(error)) from None
    if not silent and backend == "compiled" and not (code_folder() / COMPLETE).exists():
        click.echo("compiling: the first search of a version takes some ten seconds longer", err=True)
