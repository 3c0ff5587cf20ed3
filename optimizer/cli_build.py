"""Commands about boxes to print: ``build``, ``verify`` and ``inspect``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from optimizer.cli_options import RANK, SEED, examples, talk_options, unwritable

NOT_GOOD = 1


@click.command(
    epilog=examples(
        "boxwright build runs/demo-1 --candidate 1",
        "boxwright build runs/demo-1 --effort quick --seed 2",
    )
)
@click.argument("run", type=click.Path(path_type=Path))
@click.option("--candidate", "number", type=RANK, help="Rank of the candidate. Default: all of them.")
@click.option(
    "--effort",
    type=click.Choice(["quick", "normal", "thorough"]),
    help="Seek a plan anew, this hard. Default: the search's plan; normal where it found none.",
)
@click.option("--seed", type=SEED, default=1, show_default=True, help="Of a plan sought.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list, one object a candidate.")
@talk_options
def build(
    run: Path, number: int | None, effort: str | None, seed: int, as_json: bool, talk: str | None
) -> None:
    """Make parts to print of candidates of RUN, by their floor plans.

    RUN is a finished run folder. Parts go to its candidates/NN/parts: STL, 3MF, plan, design as built,
    dimension sheet, checks.
    """
    import json

    from optimizer.build import build_candidate, built_text, find_candidate
    from optimizer.files import json_of
    from optimizer.progress import progress_bar
    from optimizer.run_folder import read_run

    finished = read_run(run)
    if number is not None:
        find_candidate(finished, number)
    numbers = [number] if number is not None else [int(c["rank"]) for c in finished.candidates]
    good = bool(numbers)
    records = []
    for rank in numbers:
        try:
            with progress_bar(f"candidate {rank}", talk) as progress:
                built = build_candidate(finished, rank, effort, seed, progress)
        except OSError as error:
            raise unwritable("RUN", run, error) from None
        good &= built.verified is not None and built.verified.passed
        if as_json:
            records.append(json_of(built.folder / "build.json"))
        else:
            click.echo(built_text(built) + "\n")
    if as_json:
        click.echo(json.dumps(records, indent=1, allow_nan=False))
    if not good:
        sys.exit(NOT_GOOD)


@click.command(epilog=examples("boxwright verify runs/demo-1 --candidate 1"))
@click.argument("run", type=click.Path(path_type=Path))
@click.option("--candidate", "number", type=RANK, required=True, help="Rank of the candidate.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def verify(run: Path, number: int, as_json: bool) -> None:
    """Check the parts of a built candidate of RUN, and its network.

    Parts are measured on their meshes. Levels of the network at the box's openings are compared with
    finite elements of the air as drawn; the figure goes to the parts as air.png and air.svg. The exit
    status is that of the checks on meshes.
    """
    import json

    from models.catalogue import short_label
    from optimizer.air_check import compare_candidate
    from optimizer.build import PARTS, find_candidate, season_of
    from optimizer.figures import draw_figure
    from optimizer.figures_air import air_figure
    from optimizer.run_designs import candidate_folder
    from optimizer.run_folder import read_run
    from optimizer.verification import verify_parts

    finished = read_run(run)
    candidate = find_candidate(finished, number)
    folder = finished.folder / candidate_folder(number) / PARTS
    season = season_of(finished)
    verified = verify_parts(folder, season, number)
    compared = compare_candidate(folder, season)
    title = f"{number}. {short_label(candidate['topology'], candidate['graph'])}"
    try:
        draw_figure(lambda: air_figure(title, compared), folder / "air")
    except OSError as error:
        raise unwritable("RUN", run, error) from None
    if as_json:
        record = verified.record() | {"finite_elements": compared.record()}
        click.echo(json.dumps(record, indent=1, allow_nan=False))
    else:
        click.echo(f"{verified.text()}\n\n{compared.text()}\nfigure {folder / 'air.png'}")
    if not verified.passed:
        sys.exit(NOT_GOOD)


@click.command(
    epilog=examples(
        "boxwright inspect body.stl lid.stl --config configs/demo.toml",
        "boxwright inspect model.3mf --config configs/demo.toml --json",
        "boxwright inspect part.stl --config configs/demo.toml --unit inch",
    )
)
@click.argument("parts", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="PART...")
@click.option("--config", type=click.Path(path_type=Path), required=True, help="Season file.")
@click.option("--unit", type=click.Choice(["mm", "cm", "inch", "m"]), help="Unit of STL files; else guessed.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def inspect(parts: tuple[Path, ...], config: Path, unit: str | None, as_json: bool) -> None:
    """Check a submitted model against the season's envelope and walls.

    Give all its parts PART, as STL or 3MF.
    """
    import json

    from optimizer.inspection import inspect_parts
    from optimizer.season import load_season

    found = inspect_parts(parts, load_season(config), unit)
    click.echo(json.dumps(found.record(), indent=1, allow_nan=False) if as_json else found.text())
    if found.faults:
        sys.exit(NOT_GOOD)
