"""The command ``boxwright scale``."""

from __future__ import annotations

from pathlib import Path

import click

from optimizer.cli_options import BadOption, examples


@click.command(
    epilog=examples(
        "boxwright scale configs/demo.toml mine.toml --sheet-mm 18",
        "boxwright scale configs/demo.toml --run runs/demo-1 --json",
    )
)
@click.argument("config", type=click.Path(path_type=Path))
@click.argument("designs", type=click.Path(path_type=Path), nargs=-1, metavar="[DESIGN]...")
@click.option("--run", "run_folder", type=click.Path(path_type=Path), help="All candidates of a run folder.")
@click.option("--driver", "driver_file", type=click.Path(path_type=Path), help="File of a full-size driver.")
@click.option("--power-w", type=float, metavar="W", help="Full-size power limit instead of the scaled one.")
@click.option("--excursion-mm", type=float, metavar="MM", help="Full-size excursion limit, peak, likewise.")
@click.option("--sheet-mm", type=float, default=18.0, show_default=True, help="Thickness of full-size walls.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def scale(
    config: Path,
    designs: tuple[Path, ...],
    run_folder: Path | None,
    driver_file: Path | None,
    power_w: float | None,
    excursion_mm: float | None,
    sheet_mm: float,
    as_json: bool,
) -> None:
    """What designs of a season become at full size.

    Levels, order, dimensions and panels of every DESIGN under CONFIG.
    The driver is the season's, enlarged, unless --driver names a file.
    """
    import json

    from optimizer.box_names import box_names
    from optimizer.design_file import read_design
    from optimizer.faults import ConfigError, Fault
    from optimizer.full_size import full_size, put_beside
    from optimizer.full_size_build import driver_record, full_size_build
    from optimizer.full_size_words import build_words, design_words, order_words, scaling_words
    from optimizer.known import refuse_other_season
    from optimizer.run_folder import damaged, read_run
    from optimizer.season import load_season
    from optimizer.season_driver import load_driver

    for option, value, low, high in (
        ("--power-w", power_w, 1e-6, 1e9),
        ("--excursion-mm", excursion_mm, 1e-6, 1e4),
        ("--sheet-mm", sheet_mm, 0.1, 200.0),
    ):
        if value is not None and not low <= value <= high:
            raise BadOption(option, f"must be {low:g} to {high:g}, is {value:g}")
    season = load_season(config)
    paths, names = list(designs), [str(path) for path in designs]
    if run_folder is not None:
        run = read_run(run_folder)
        refuse_other_season(run_folder, season)
        try:
            paths += [run_folder / str(candidate["design"]) for candidate in run.candidates]
            names += box_names(run.candidates)
        except (KeyError, TypeError) as error:
            raise damaged(run_folder / "candidates.json", f"damaged: {error!r}") from None
    if not paths:
        raise BadOption("DESIGN", "name at least one design file, or a run folder with --run")
    driver = None
    if driver_file is not None:
        driver = load_driver(driver_file, season.rules.air, season.rules.driver_count)
    sizes = full_size(season, driver, power_w, None if excursion_mm is None else excursion_mm * 1e-3)
    batches, faults = [], list[Fault]()
    for path in paths:
        try:
            batches.append(read_design(path, season.rules))
        except ConfigError as error:
            faults += error.faults
    if faults:
        raise ConfigError(faults)
    compared = [put_beside(sizes, batch) for batch in batches]
    given = range(len(designs))
    builds = [full_size_build(sizes, batches[i], paths[i], sheet_mm * 1e-3) for i in given]
    for i in given:
        if builds[i]["from_plan"]:  # a plan shares walls, which the account by volumes does not know of
            compared[i] |= {"fits_full_size": True, "reasons_not": []}
    table, order = order_words(names, compared)
    if as_json:
        results = [{"design": str(path)} | one for path, one in zip(paths, compared, strict=True)]
        for i in given:
            results[i] |= {"build": builds[i]}
        record = {
            "scale": season.scale,
            "driver": driver_record(sizes, sizes.full.driver),
            "designs": results,
            "order": order,
        }
        click.echo(json.dumps(record, indent=1, allow_nan=False))
        return
    parts = [scaling_words(sizes)]
    for i in given:
        parts += [design_words(names[i], compared[i]), build_words(builds[i])]
    if len(paths) > 1:
        parts.append(table)
    click.echo("\n\n".join(parts))
