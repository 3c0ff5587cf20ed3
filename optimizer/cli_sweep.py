"""The command ``boxwright sweep``."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optimizer.cli_options import INTERRUPTED, BadOption, examples, new_folder, talk_options

if TYPE_CHECKING:
    from optimizer.sweep import States
    from optimizer.sweep_plan import Plan


@click.command(
    epilog=examples(
        "boxwright sweep configs/demo.toml --vary limits.power_w=6:24:4 --effort quick",
        "boxwright sweep configs/demo.toml --vary search.duct_shape=round,slot --shard 1/2",
        "boxwright sweep --merge runs/one runs/two --out runs/both",
    )
)
@click.argument("paths", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="CONFIG")
@click.option(
    "--vary",
    "varied",
    multiple=True,
    metavar="KEY=VALUES",
    help="Key of the season and START:STOP:COUNT, START:STOP:COUNT:log, or values with commas. Repeatable.",
)
@click.option("--together", is_flag=True, help="Change several keys together, not in every combination.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder. Default: runs/NAME-sweep-NUMBER.")
@click.option("--workers", type=int, default=os.cpu_count() or 1, show_default="all cores", help="Processes.")
@click.option("--effort", type=click.Choice(["quick", "normal", "thorough"]), help="Instead of the season's.")
@click.option("--seed", type=int, help="Instead of the season's.")
@click.option("--resume", is_flag=True, help="Go on with the sweep in --out or the last one; may add values.")
@click.option("--shard", metavar="N/OF", help="Run only the Nth of OF parts, here or on another machine.")
@click.option("--merge", "merging", is_flag=True, help="Bring finished points of sweep folders into --out.")
@click.option("--backend", type=click.Choice(["loky", "dask"]), default="loky", help="What runs the points.")
@click.option("--address", help="Scheduler of a dask cluster. Default: a cluster on this machine.")
@click.option("--json", "as_json", is_flag=True, help="Print the table as JSON.")
@talk_options
def sweep(
    paths: tuple[Path, ...],
    varied: tuple[str, ...],
    together: bool,
    out: Path | None,
    workers: int,
    effort: str | None,
    seed: int | None,
    resume: bool,
    shard: str | None,
    merging: bool,
    backend: str,
    address: str | None,
    as_json: bool,
    talk: str | None,
) -> None:
    """Search the season CONFIG for every value of --vary.

    Shows how the best box follows.
    With --merge the arguments are folders of sweeps, such as shards, instead of a season.
    """
    from optimizer.sweep_points import DONE, FAILED

    if merging:
        if varied or shard or resume or together:
            raise BadOption("--merge", "takes folders of sweeps and --out, and runs nothing")
        folder = _merged(paths, out)
        states: States = {}
        stopped = False
    else:
        if len(paths) > 1:
            raise BadOption("CONFIG", f"must be one season file, are {len(paths)}; quote values with blanks")
        if not varied:
            raise BadOption("--vary", "is missing: name a key and its values, such as limits.power_w=8:16:5")
        if together and len(varied) < 2:
            raise BadOption("--together", "needs --vary twice or more")
        if workers < 1:
            raise BadOption("--workers", f"must be at least 1, is {workers}")
        if seed is not None and not 0 <= seed < 2**63:
            raise BadOption("--seed", f"must be 0 to 2**63 - 1, is {seed}")
        if address is not None and backend != "dask":
            raise BadOption("--address", "names a dask cluster, so --backend dask is needed")
        number, of = _shard(shard)

        from optimizer.sweep_plan import make_plan

        plan = make_plan(paths[0], varied, together=together, effort=effort, seed=seed)
        folder = _folder(out, paths[0], resume, shard is not None)
        states, stopped = _run(plan, folder, (number, of), workers, backend, address, talk)
    missing = _show(folder, states, as_json)
    if stopped:
        click.echo("interrupted: the folder holds the points finished until then", err=True)
        sys.exit(INTERRUPTED)
    for key, (state, words) in states.items():
        if state not in (DONE,):
            told = f": {words}" if words else ""
            click.echo(f"{folder}/points/{key}: {state}{told}", err=True)
    if missing or any(state == FAILED for state, _ in states.values()):
        sys.exit(1)


def _run(
    plan: Plan,
    folder: Path,
    shard: tuple[int, int],
    workers: int,
    backend: str,
    address: str | None,
    talk: str | None,
) -> tuple[States, bool]:
    """States of the points after running them, and whether they were interrupted."""
    from optimizer.cli_search import prepare_backend
    from optimizer.progress import QUIET, progress_bar
    from optimizer.sweep import Stopped, begin, run_points, shard_of

    prepare_backend(silent=talk == QUIET)
    begin(plan, folder)
    points = shard_of(plan.points, *shard)
    try:
        with progress_bar("sweeping", talk) as progress:
            states = run_points(
                plan, points, folder, workers=workers, backend=backend, address=address, progress=progress
            )
    except Stopped:
        return {}, True
    return states, False


def _show(folder: Path, states: States, as_json: bool) -> bool:
    """Write and print the tables; true where nothing at all was found."""
    import json

    from optimizer.sweep_page import draw_sweep
    from optimizer.sweep_table import table_text, write_tables

    try:
        table = write_tables(folder, states)
        draw_sweep(folder, table)
    except OSError as error:
        raise BadOption("--out", f"cannot write to {folder}: {error.strerror}") from None
    click.echo(json.dumps(table, indent=1, allow_nan=False) if as_json else table_text(table, str(folder)))
    return not any(row.get("graph") for row in table["rows"])


def _merged(folders: tuple[Path, ...], out: Path | None) -> Path:
    from optimizer.sweep_table import merge

    if out is None:
        if len(folders) > 1:
            raise BadOption("--out", "is missing: name the folder that takes the points of all")
        out = folders[0]
    try:
        merge(folders, out)
    except OSError as error:
        raise BadOption("--merge", f"cannot copy to {out}: {error}") from None
    return out


def _shard(text: str | None) -> tuple[int, int]:
    if text is None:
        return 1, 1
    found = re.fullmatch(r"(\d{1,6})/(\d{1,6})", text)
    if found is None or not 1 <= int(found[1]) <= int(found[2]):
        raise BadOption("--shard", f"must be N/OF such as 2/5, N from 1 to OF, is {text!r}")
    return int(found[1]), int(found[2])


def _folder(out: Path | None, config: Path, resume: bool, sharded: bool) -> Path:
    """The sweep's folder as an absolute path, which workers elsewhere understand too."""
    from optimizer.sweep import PLAN

    named = config.with_name(f"{config.stem}-sweep{config.suffix}")
    if resume and out is None:
        folders = [p for p in Path("runs").glob(f"{named.stem}-*") if (p / PLAN).is_file()]
        numbers = {p.name.removeprefix(f"{named.stem}-"): p for p in folders}
        known = sorted(int(number) for number in numbers if number.isdecimal())
        if not known:
            raise BadOption("--resume", f"there is no sweep runs/{named.stem}-NUMBER to go on with")
        return numbers[str(known[-1])].resolve()
    if out is not None and (out / PLAN).is_file() and (resume or sharded):
        return out.resolve()
    if resume:
        raise BadOption("--resume", f"{out} holds no {PLAN}, so there is nothing to go on with")
    return new_folder(out, named).resolve()
