"""The command ``boxwright play``."""

from __future__ import annotations

from pathlib import Path

import click

from optimizer.cli_options import BadOption, examples, new_folder


@click.command(
    epilog=examples("boxwright play configs/demo.toml runs/demo-1/candidates/01/design.toml track.wav")
)
@click.argument("config", type=click.Path(path_type=Path))
@click.argument("design", type=click.Path(path_type=Path))
@click.argument("track", type=click.Path(path_type=Path), metavar="TRACK.WAV")
@click.option("--full-scale-v", type=float, metavar="V",
              help="Peak voltage at digital full scale instead of the largest permitted.")  # fmt: skip
@click.option("--low-hz", type=float, metavar="HZ", help="Lower end of the band. Default: lowest tone / 4.")
@click.option("--high-hz", type=float, metavar="HZ", help="Upper end. Default: twice the highest tone.")
@click.option("--window-s", type=float, default=1.0, show_default=True, metavar="S",
              help="Time over which the power is a mean, in the model's time.")  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), help="New or empty folder for the results.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def play(
    config: Path,
    design: Path,
    track: Path,
    full_scale_v: float | None,
    low_hz: float | None,
    high_hz: float | None,
    window_s: float,
    out: Path | None,
    as_json: bool,
) -> None:
    """Play TRACK.WAV through the box DESIGN, at the season's scale.

    The track runs as much faster as the scale of the season CONFIG says.
    Finds the largest gain at which no limit is exceeded, and which limit stops it when. Writes track.json,
    track.csv, track.png and .svg, and a WAV file of what is heard in each space, slowed back.
    """
    import json

    from optimizer import play as work
    from optimizer.design_file import read_design
    from optimizer.figures import draw_figure
    from optimizer.figures_track import track_figure
    from optimizer.files import write_csv, write_json
    from optimizer.play_text import played_text
    from optimizer.season import load_season
    from optimizer.wav_file import read_recording

    if full_scale_v is not None and not 1e-6 <= full_scale_v <= 1e5:
        raise BadOption("--full-scale-v", f"must be 1e-06 to 100000 V, is {full_scale_v:g}")
    if not 0.01 <= window_s <= 600.0:
        raise BadOption("--window-s", f"must be 0.01 to 600 s, is {window_s:g}")
    season = load_season(config)
    band = work.default_band(season.rules, low_hz, high_hz)
    if not 1.0 <= band.low < band.high:
        option = "--low-hz" if low_hz is not None else "--high-hz"
        words = f"the band must rise from at least 1 Hz, to at most {band.top:.4g} Hz where the model ends"
        raise BadOption(option, f"{words}; is {band.low:g} to {band.high:g} Hz")
    batch = read_design(design, season.rules, band.grid())
    recording = read_recording(track)
    played = work.play_recording(season, batch, recording, track, band, window_s, full_scale_v)
    folder = new_folder(out, config)
    record, rows = work.played_record(played), work.rows_over_time(played)
    moments = {one["name"]: one["limit_at_track_s"] for one in record["spaces"]}
    title = f"{design.stem}: {track.stem}"
    try:
        files, full_scale = work.write_heard(played, folder)
        record["heard"] = {"files": files, "full_scale_pa_peak": full_scale}
        write_json(folder / "track.json", record)
        write_csv(folder / "track.csv", list(rows[0]), rows)
        limits = season.source["limits"]
        draw_figure(lambda: track_figure(title, rows, limits, played.has_ducts, moments), folder / "track")
    except OSError as error:
        raise BadOption("--out", f"cannot write to {folder}: {error.strerror}") from None
    if as_json:
        click.echo(json.dumps(record, indent=1, allow_nan=False))
        return
    click.echo(played_text(record, files, full_scale))
    click.echo(f"\nWritten to {folder}: track.json, track.csv, track.png, track.svg, {', '.join(files)}")
