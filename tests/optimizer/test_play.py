"""The command ``play``, and the WAV files it reads and writes."""

from __future__ import annotations

import csv
import json
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from optimizer import play as work
from optimizer import wav_file
from optimizer.design_file import read_design
from optimizer.faults import ConfigError
from optimizer.play_text import track_time
from optimizer.season import Season
from optimizer.wav_file import Recording, read_recording

RATE = 2000


def tune(seconds: float = 3.0, rate: int = RATE) -> np.ndarray:
    """Two notes of 35 and 47 Hz, the second one louder."""
    t = np.arange(int(seconds * rate)) / rate
    first, second = 0.3 * np.sin(2 * np.pi * 35.0 * t), 0.7 * np.sin(2 * np.pi * 47.0 * t)
    return np.where(t < seconds / 2.0, first, second) * np.sin(2 * np.pi * t / seconds) ** 2


@pytest.fixture
def track(tmp_path: Path) -> Path:
    path = tmp_path / "tune.wav"
    wavfile.write(path, RATE, np.round(tune() * 32767).astype(np.int16))
    return path


@pytest.mark.parametrize(
    ("kind", "close"),
    [
        ("uint8", 1 / 100), ("int16", 1e-4), ("int24", 1e-6), ("int32", 1e-8), ("float32", 1e-6),
        ("float64", 0.0),
    ],
)  # fmt: skip
def test_every_kind_of_sample(kind: str, close: float, tmp_path: Path) -> None:
    samples, path = tune(0.5), tmp_path / "t.wav"
    if kind == "int24":
        values = np.round(samples * (2**23 - 1)).astype("<i4")
        with wave.open(str(path), "wb") as file:
            file.setparams((1, 3, RATE, 0, "NONE", ""))
            file.writeframes(values.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    elif kind.startswith("float"):
        wavfile.write(path, RATE, samples.astype(kind))
    elif kind == "uint8":
        wavfile.write(path, RATE, np.round(samples * 127 + 128).astype(np.uint8))
    else:
        wavfile.write(path, RATE, np.round(samples * np.iinfo(kind).max).astype(kind))
    found = read_recording(path)
    assert (found.rate, found.channels, found.seconds) == (RATE, 1, 0.5)
    assert found.samples == pytest.approx(samples, abs=close)


def test_stereo_is_the_mean(tmp_path: Path) -> None:
    path = tmp_path / "t.wav"
    wavfile.write(path, RATE, np.stack([tune(), -0.5 * tune()], axis=1).astype(np.float32))
    found = read_recording(path)
    assert found.channels == 2 and found.samples == pytest.approx(0.25 * tune(), abs=1e-6)


def written(folder: Path, samples: np.ndarray, rate: int = RATE) -> Path:
    path = folder / "bad.wav"
    wavfile.write(path, rate, samples)
    return path


def test_faults_of_tracks(track: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = track.read_bytes()
    bad = tune().astype(np.float32)
    bad[10] = np.nan
    for content, words in (
        (b"", "is empty"),
        (b"hello, this is text", "is no WAV file that can be read"),
        (whole[:30], "is no WAV file that can be read"),
        (whole[: len(whole) // 2], "is cut off"),
        (bad, "sample 11 is not a finite number"),
        (np.zeros(4000, np.int16), "is silent"),
        (np.zeros(0, np.int16), "holds 0 samples"),
        (np.ones(10, np.int16), "holds 10 samples; at least 0.1 s"),
    ):
        path = tmp_path / "bad.wav"
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            written(tmp_path, content)
        with pytest.raises(ConfigError, match=words):
            read_recording(path)
    with pytest.raises(ConfigError, match="a rate of 500 Hz is outside 1000 to"):
        read_recording(written(tmp_path, tune(), 500))
    for path, words in ((tmp_path / "none.wav", "no such file"), (tmp_path, "is a directory")):
        with pytest.raises(ConfigError, match=words):
            read_recording(path)
    monkeypatch.setattr(wav_file, "MOST_SAMPLES", 4000)
    with pytest.raises(ConfigError, match="3 s are too long; the most is 2 s"):
        read_recording(track)
    monkeypatch.setattr(wav_file, "LARGEST_BYTES", 4000)
    with pytest.raises(ConfigError, match="is larger than"):
        read_recording(track)


def test_a_track_through_a_box(
    run, season: Season, season_path: Path, design_paths: list[Path], track: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "played"
    status, out, err = run("play", season_path, design_paths[1], track, "--out", folder)
    assert (status, err) == (0, "") and "Nobody stays inside" in out and "excursion at 0:" in out
    names = ["heard-1.wav", "heard-2.wav", "track.csv", "track.json", "track.png", "track.svg"]
    assert sorted(p.name for p in folder.iterdir()) == names
    record = json.loads((folder / "track.json").read_text())
    near, far = record["spaces"]
    assert (record["scale"], record["model_s"]) == (4.0, 0.75)
    assert near["excursion_mm"] == pytest.approx(3.0, rel=1e-3) and near["settled"]
    assert near["mean_level_db"] - far["mean_level_db"] == pytest.approx(6.02, abs=0.1)
    assert 1.5 < near["limit_at_track_s"] < 3.0  # the louder note
    with (folder / "track.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert {row["space"] for row in rows} == {"court", "far court"}
    mine = [float(row["excursion_mm"]) for row in rows if row["space"] == "court"]
    assert max(mine) == pytest.approx(near["excursion_mm"], rel=1e-9)
    # the written track is what the microphone hears, slowed back: same length, level as stated
    rate, heard = wavfile.read(folder / "heard-1.wav")
    assert (rate, heard.dtype, heard.size) == (RATE, np.int16, 3 * RATE)
    pascal = heard / 32767.0 * record["heard"]["full_scale_pa_peak"]
    assert np.abs(heard).max() == pytest.approx(0.9 * 32767, rel=0.01)
    assert work.decibels(pascal) == pytest.approx(near["mean_level_db"], abs=0.05)
    spectrum = np.abs(np.fft.rfft(pascal))
    loudest = np.fft.rfftfreq(heard.size, 1.0 / rate)[np.argmax(spectrum)]
    assert loudest == pytest.approx(47.0, abs=1.0)


def test_twice_the_rate_is_half_the_scale(season: Season, design_paths: list[Path]) -> None:
    """A track of twice the rate at half the scale is the same track to the model, in half the track time."""
    batch = read_design(design_paths[1], season.rules)
    band = work.default_band(season.rules, None, None)
    found = []
    for rate, scale in ((RATE, 4.0), (2 * RATE, 2.0)):
        recording = Recording(rate=rate, samples=tune(), channels=1)
        other = replace(season, scale=scale)
        played = work.play_recording(other, batch, recording, Path("t.wav"), band, 1.0, None)
        found.append(work.played_record(played))
    slow, fast = found
    assert fast["track_s"] == slow["track_s"] / 2.0 and fast["model_s"] == slow["model_s"]
    for one, two in zip(slow["spaces"], fast["spaces"], strict=True):
        assert two["full_scale_v_peak"] == pytest.approx(one["full_scale_v_peak"], rel=1e-9)
        assert two["mean_level_db"] == pytest.approx(one["mean_level_db"], abs=1e-9)
        assert two["limit_at_track_s"] == pytest.approx(one["limit_at_track_s"] / 2.0, rel=1e-9)


def test_a_given_gain_and_json(
    run, season_path: Path, design_paths: list[Path], track: Path, tmp_path: Path
) -> None:
    arguments = ("play", season_path, design_paths[0], track, "--json", "--full-scale-v", "2")
    status, out, _ = run(*arguments, "--out", tmp_path / "o")
    record = json.loads(out)
    assert status == 0 and not record["gain_sought"]
    assert record["spaces"][0]["full_scale_v_peak"] == 2.0 and record["spaces"][0]["air_speed_m_s"] is None
    assert record["spaces"][0]["excursion_mm"] < 3.0


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        (("--full-scale-v", "0"), "--full-scale-v: must be 1e-06 to 100000 V"),
        (("--window-s", "0"), "--window-s: must be 0.01 to 600 s"),
        (("--low-hz", "900"), "--low-hz: the band must rise"),
        (("--high-hz", "10"), "--high-hz: the band must rise"),
        (("--high-hz", "4500"), "tune.wav:1: track: at 2000 Hz it ends below 1125 Hz"),
        (("--low-hz", "2000", "--high-hz", "3000"), "tune.wav:1: track: holds next to nothing between 500"),
    ],
)
def test_faults(
    run, season_path: Path, design_paths: list[Path], track: Path, options: tuple[str, ...], fault: str
) -> None:
    status, out, err = run("play", season_path, design_paths[1], track, *options)
    assert (status, out) == (2, "") and fault in err


def test_track_time() -> None:
    assert [track_time(s) for s in (0.04, 59.96, 62.5)] == ["0:00.0", "1:00.0", "1:02.5"]


def test_the_example_of_the_readme(run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its command prints the lines that stand there."""
    root = Path(__file__).parents[2]
    text = (root / "README.md").read_text(encoding="utf-8")
    command, *shown = text.partition("$ boxwright play ")[2].partition("```")[0].strip().splitlines()
    monkeypatch.chdir(tmp_path)
    words = [root / word if word.startswith("configs/") else word for word in command.split()]
    status, out, _ = run("play", *words)
    assert status == 0 and len(shown) > 4 and set(shown) <= set(out.splitlines())
