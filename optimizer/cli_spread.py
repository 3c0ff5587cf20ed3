"""The command ``boxwright spread``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.cli_options import BadOption, examples, talk_options

if TYPE_CHECKING:
    from models.design import DesignBatch
    from optimizer.faults import Fault
    from optimizer.run_folder import Run
    from optimizer.season import Season

MOST_SAMPLES = 65536


@click.command(
    epilog=examples(
        "boxwright spread runs/demo-1",
        "boxwright spread configs/demo.toml mine.toml --samples 1024",
    )
)
@click.argument("place", type=click.Path(path_type=Path), metavar="RUN|CONFIG")
@click.argument("designs", type=click.Path(path_type=Path), nargs=-1, metavar="[DESIGN...]")
@click.option(
    "--samples",
    type=int,
    default=256,
    show_default=True,
    help="Base samples, a power of two; there are twice as many draws.",
)
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), help="Of the draws. Default: the season's.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list, one object a box.")
@talk_options
def spread(
    place: Path,
    designs: tuple[Path, ...],
    samples: int,
    seed: int | None,
    as_json: bool,
    talk: str | None,
) -> None:
    """How scores spread with print, driver, leaks and temperature.

    Takes the candidates of the finished run folder RUN and writes the result into it, or boxes given by
    hand under the season CONFIG. The distributions are the season's [tolerances].
    """
    import json

    from models.score import Judge
    from optimizer.progress import progress_bar
    from optimizer.spread import spread as find_spread

    if not 8 <= samples <= MOST_SAMPLES or samples & (samples - 1):
        raise BadOption("--samples", f"must be a power of two from 8 to {MOST_SAMPLES}, is {samples}")
    from optimizer.box_names import first_kind, is_built

    run, season, names, boxes = _given(place, designs)
    candidates = run.candidates[: len(boxes)] if run is not None else []
    seed = season.search.seed if seed is None else seed
    judge = Judge(season.rules, backend="numpy")
    with progress_bar("drawing boxes", talk) as progress:
        found = find_spread(judge, boxes, samples, seed, progress, [is_built(c) for c in candidates])
    nominal = [float(judge.scores(judge.respond(box))[0]) for box in boxes]
    records = [one.record() for one in found]
    if run is not None:
        _write(run, records)
    if as_json:
        told = zip(names, nominal, records, strict=True)
        content = [{"design": name, "score_db": score, "tolerance": one} for name, score, one in told]
        click.echo(json.dumps(content, indent=1, allow_nan=False))
    else:
        order = sorted(range(len(names)), key=lambda i: -nominal[i])
        if run is not None:  # which ranks boxes with a plan before free networks
            order = list(range(len(names)))
        kind = first_kind(candidates) if run is not None else order
        click.echo(_text(names, nominal, records, order, kind))
        if run is not None:
            click.echo(f"Written to {run.folder / 'candidates.json'} and {run.folder / 'report.html'}.")


def _given(place: Path, designs: tuple[Path, ...]) -> tuple[Run | None, Season, list[str], list[DesignBatch]]:
    from optimizer.box_names import box_names
    from optimizer.design_file import read_design
    from optimizer.faults import ConfigError
    from optimizer.faults import Fault as InputFault
    from optimizer.run_folder import read_run
    from optimizer.season import load_season, season_from_data
    from optimizer.spread import MOST_BOXES

    run = None
    if place.is_dir():
        if designs:
            raise BadOption("DESIGN", f"{place} is a run folder, which has designs of its own")
        run = read_run(place)
        if not run.candidates:
            raise ConfigError(
                [InputFault(str(place / "candidates.json"), 1, "file", "there are no candidates")]
            )
        season = season_from_data(run.record["source"], place / "run.json")
        designs = tuple(place / str(c["design"]) for c in run.candidates[:MOST_BOXES])
        names = box_names(run.candidates[:MOST_BOXES])
    else:
        season, names = load_season(place), [str(path) for path in designs]
        if not designs:
            raise BadOption("DESIGN", f"give one or more designs, or a run folder in place of {place}")
        if len(designs) > MOST_BOXES:
            raise BadOption("DESIGN", f"at most {MOST_BOXES} boxes at once, given are {len(designs)}")
    boxes: list[DesignBatch] = []
    faults: list[Fault] = []
    for path in designs:
        try:
            boxes.append(read_design(path, season.rules))
        except ConfigError as error:
            faults += error.faults
    if faults:
        raise ConfigError(faults)
    return run, season, names, boxes


def _text(
    names: list[str],
    nominal: list[float],
    records: list[dict[str, Any]],
    order: list[int],
    kind: list[int],
) -> str:
    """The boxes in an order, and sentences on the first among those of its kind."""
    from textwrap import fill

    from optimizer.cli_output import text_table
    from optimizer.spread_words import AMONG, APART, HEAD, NOTE, spread_cells, spread_sentences

    rows = [[names[i], *spread_cells(nominal[i], records[i])] for i in order]
    mixed = len(kind) < len(names)
    told = [names[i] for i in kind], [records[i] for i in kind], AMONG if mixed else ""
    sentences = [*spread_sentences(*told), *([APART] if mixed else [])]
    return "\n".join([text_table(["box, dB", *HEAD], rows), "", *sentences, "", fill(NOTE, 100)])


def _write(run: Run, records: list[dict[str, Any]]) -> None:
    """Write the spread into the run folder, and draw its figure and the report again."""
    from optimizer.figures import draw_figure, figure_makers
    from optimizer.files import write_csv, write_json, write_text
    from optimizer.report import report_page
    from optimizer.run_folder import read_run
    from optimizer.run_record import candidate_row, columns_of

    told = [c | {"tolerance": one} for c, one in zip(run.candidates, records, strict=False)]
    candidates = told + run.candidates[len(told) :]
    rows = [candidate_row(candidate) for candidate in candidates]
    try:
        write_json(run.folder / "candidates.json", candidates)
        write_csv(run.folder / "candidates.csv", columns_of(rows), rows)
        again = read_run(run.folder)
        draw_figure(dict(figure_makers(again))["spread"], run.folder / "spread")
        write_text(run.folder / "report.html", report_page(again))
    except FileNotFoundError as error:
        from optimizer.faults import ConfigError, Fault

        fault = Fault(str(error.filename), 1, "file", "no such figure; boxwright report draws it again")
        raise ConfigError([fault]) from None
    except OSError as error:
        raise BadOption("RUN", f"cannot write to {run.folder}: {error.strerror}") from None
