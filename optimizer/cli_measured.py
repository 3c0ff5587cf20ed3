"""Commands about measured impedance: ``derive`` and ``measured``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from optimizer.cli_options import BadOption, Bounded, examples, new_folder

COLUMNS_HELP = "Meaning of the columns, such as hz,ohm,deg or hz,re_ohm,im_ohm; skip for one passed over."


def air_options(command: Callable[..., None]) -> Callable[..., None]:
    """State of the air as options of a command."""
    for name, default, least, most, words in (
        ("--humidity-percent", 50.0, 0.0, 100.0, "Relative humidity."),
        ("--pressure-kpa", 101.325, 50.0, 120.0, "Pressure of the air."),
        ("--temperature-c", 20.0, -10.0, 50.0, "Temperature of the air."),
    ):
        kind = Bounded(least, most)
        command = click.option(name, type=kind, default=default, show_default=True, help=words)(command)
    return command


def positive(option: str, value: float | None, unit: str, most: float) -> None:
    """Refuse an option's value that is not above zero."""
    if value is not None and not 0.0 < value <= most:
        raise BadOption(option, f"must be above 0 and at most {most:g} {unit}, is {value:g}")


def columns_option(text: str | None) -> tuple[str, ...] | None:
    """Columns that ``--columns`` names."""
    from optimizer.measured_columns import parse_columns

    try:
        return None if text is None else parse_columns(text)
    except ValueError as error:
        raise BadOption("--columns", str(error)) from None


def range_option(text: str | None) -> tuple[float, float] | None:
    """Frequencies that ``--range`` gives [Hz]."""
    if text is None:
        return None
    try:
        low, high = (float(part) for part in text.split(":"))
    except ValueError:
        raise BadOption("--range", f"must be LOW:HIGH such as 20:2000, is {text!r}") from None
    if not 0.0 < low < high < float("inf"):
        raise BadOption("--range", f"must rise and be above 0 Hz, is {text!r}")
    return low, high


@click.command(
    epilog=examples(
        "boxwright derive free.csv mass.csv --sd-cm2 21 --added-mass-g 2",
        "boxwright derive free.csv box.csv --sd-cm2 21 --box-l 1.2",
    )
)
@click.argument("free", type=click.Path(path_type=Path))
@click.argument("loaded", type=click.Path(path_type=Path))
@click.option("--sd-cm2", type=float, required=True, metavar="CM2", help="Effective piston area.")
@click.option("--added-mass-g", type=float, metavar="G", help="Mass on the cone in LOADED.")
@click.option("--box-l", type=float, metavar="L", help="Net air volume of the closed box in LOADED.")
@click.option("--mounting", type=click.Choice(["free", "baffle"]), default="free", show_default=True,
              help="How the driver was held where it is not in the box.")  # fmt: skip
@click.option("--coil", type=click.Choice(["auto", "inductance", "lossy"]), default="auto", show_default=True,
              help="Form of the coil's inductance.")  # fmt: skip
@click.option("--columns", metavar="NAMES", help=COLUMNS_HELP)
@click.option("--range", "span", metavar="LOW:HIGH", help="Hz to fit. Default: fs/10 to 20 fs.")
@click.option("--name", default="measured driver", show_default=True, help="Name of the driver.")
@click.option("--out", type=click.Path(path_type=Path), help="New or empty folder for the results.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@air_options
def derive(free: Path, loaded: Path, **options: Any) -> None:
    """Thiele-Small parameters, with uncertainties, from two sweeps.

    FREE is the sweep of the driver alone, LOADED that with an added mass or in a closed box: CSV files of
    frequency, magnitude and phase, or of frequency, real and imaginary part. Writes driver.toml for a
    season, fit.json, and fit.png and .svg into a folder.
    """
    import json

    from models.air import humid_air
    from models.identification import Setup
    from optimizer import derive as work
    from optimizer.figures import draw_figure
    from optimizer.figures_impedance import Curve, impedance_figure
    from optimizer.files import write_json, write_text
    from optimizer.measured_csv import read_sweep

    mass, volume = options["added_mass_g"], options["box_l"]
    if (mass is None) == (volume is None):
        raise BadOption("--added-mass-g", "give either --added-mass-g or --box-l, as LOADED was taken")
    positive("--sd-cm2", options["sd_cm2"], "cm2", 1e5)
    positive("--added-mass-g", mass, "g", 1e6)
    positive("--box-l", volume, "l", 1e6)
    name = options["name"].strip()
    if not name or not name.isprintable():
        raise BadOption("--name", f"must be a line of text, is {options['name']!r}")
    columns, span = columns_option(options["columns"]), range_option(options["span"])
    setup = Setup(
        area=options["sd_cm2"] * 1e-4,
        air=humid_air(options["temperature_c"], options["pressure_kpa"], options["humidity_percent"]),
        added_mass=None if mass is None else mass * 1e-3,
        box_volume=None if volume is None else volume * 1e-3,
        baffled=options["mounting"] == "baffle",
    )
    sweeps = read_sweep(free, columns), read_sweep(loaded, columns)
    used, found = work.derive((free, loaded), sweeps, setup, options["coil"], span)
    folder = new_folder(options["out"], free)
    record = work.derived_record(found, used, setup)
    labels = ("alone", "with added mass" if volume is None else "in the box")
    curves = [
        Curve(label=label, sweep=sweep, fitted=fit)
        for label, sweep, fit in zip(labels, used, found.fitted, strict=True)
    ]
    try:
        write_text(folder / "driver.toml", work.driver_toml(found, setup, name, (free, loaded)))
        write_json(folder / "fit.json", record)
        draw_figure(lambda: impedance_figure(f"{name}: impedance", curves), folder / "fit")
    except OSError as error:
        raise BadOption("--out", f"cannot write to {folder}: {error.strerror}") from None
    if options["as_json"]:
        click.echo(json.dumps(record, indent=1, allow_nan=False))
        return
    click.echo(work.derived_text(found, used, setup))
    click.echo(f"\nWritten to {folder}: driver.toml, fit.json, fit.png, fit.svg")


@click.command(epilog=examples("boxwright measured configs/demo.toml mine.toml mine.csv"))
@click.argument("config", type=click.Path(path_type=Path))
@click.argument("design", type=click.Path(path_type=Path))
@click.argument("sweep", type=click.Path(path_type=Path))
@click.option("--fit", "groups", default="leak,length,compliance,coil", show_default=True, metavar="NAMES",
              help="What may differ from the design: leak, length, compliance, coil, loss.")  # fmt: skip
@click.option("--drive-v", type=float, default=0.1, show_default=True, metavar="V",
              help="Voltage of the sweep, rms.")  # fmt: skip
@click.option("--space", metavar="NAME", help="Space of the season where it was taken. Default: in the open.")
@click.option("--columns", metavar="NAMES", help=COLUMNS_HELP)
@click.option("--range", "span", metavar="LOW:HIGH", help="Hz to fit. Default: to twice the highest tone.")
@click.option("--out", type=click.Path(path_type=Path), help="New or empty folder for the results.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def measured(config: Path, design: Path, sweep: Path, **options: Any) -> None:
    """Compare a built box's impedance SWEEP with its DESIGN.

    Both under the season CONFIG. Fits leaks, duct lengths, and the driver's compliance and resistance, and
    says what they cost in score.
    Writes built.toml (the design with fitted leaks and lengths), fit.json, and fit.png and .svg.
    """
    import json

    from models.box_fit import GROUPS
    from optimizer import measured_box as work
    from optimizer.design_file import read_design, write_design
    from optimizer.figures import draw_figure
    from optimizer.figures_impedance import Curve, impedance_figure
    from optimizer.files import write_json, write_text
    from optimizer.measured_csv import read_sweep
    from optimizer.season import load_season

    groups = tuple(dict.fromkeys(name.strip() for name in options["groups"].split(",")))
    for name in groups:
        if name not in GROUPS:
            raise BadOption("--fit", f"{name!r} is none of {', '.join(GROUPS)}")
    voltage, span = options["drive_v"], range_option(options["span"])
    positive("--drive-v", voltage, "V", 1e5)
    columns = columns_option(options["columns"])
    season = load_season(config)
    rules = work.season_space(season, options["space"])
    points = work.fitted_points(rules, read_sweep(sweep, columns), span, sweep)
    batch = read_design(design, season.rules, points.hz)
    found = work.measure_box(season, rules, batch, points, voltage, groups, sweep)
    folder = new_folder(options["out"], config)
    curve = Curve(label="box", sweep=points, fitted=found.fit.fitted, predicted=found.fit.predicted)
    record = work.box_record(found)
    try:
        comment = f"{design} with leaks and lengths as {sweep} shows them"
        text = write_design(found.built, 0, comments=[comment])
        write_text(folder / "built.toml", text)
        write_json(folder / "fit.json", record)
        draw_figure(lambda: impedance_figure(f"{design.stem}: impedance", [curve]), folder / "fit")
    except OSError as error:
        raise BadOption("--out", f"cannot write to {folder}: {error.strerror}") from None
    if options["as_json"]:
        click.echo(json.dumps(record, indent=1, allow_nan=False))
        return
    where = "in the open" if options["space"] is None else f"in {options['space']}"
    click.echo(work.box_text(found, where, voltage, rules.physics.leak_corner_hz))
    click.echo(f"\nWritten to {folder}: built.toml, fit.json, fit.png, fit.svg")
