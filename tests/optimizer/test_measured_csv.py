"""Measured impedance as text: what is understood, and every fault with its line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from models.impedance_peak import Sweep
from optimizer import measured_csv
from optimizer.faults import ConfigError
from optimizer.measured_columns import columns_of_header, parse_columns
from optimizer.measured_csv import read_sweep

HZ = np.geomspace(20.0, 2000.0, 30)
Z = 4.0 + 2.0j * HZ / 500.0


def lines(mark: str = ",", sign: str = ".", rows: tuple[np.ndarray, ...] | None = None) -> list[str]:
    table = rows or (HZ, np.abs(Z), np.degrees(np.angle(Z)))
    return [mark.join(f"{v:.7f}" for v in row).replace(".", sign) for row in zip(*table, strict=True)]


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "sweep.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    ("head", "mark", "sign", "rows", "columns"),
    [
        ("", ",", ".", None, None),
        ("frequency_hz,magnitude_ohm,phase_deg", ",", ".", None, None),
        ("# taken by hand\n\nFrequency (Hz);|Z| (Ohm);Phase (°)", ";", ",", None, None),
        ("f [kHz]\tmagnitude\tphase [rad]", "\t", ",", (HZ / 1e3, np.abs(Z), np.angle(Z)), None),
        ("Hz;Re [ohm];Im [ohm]", ";", ".", (HZ, Z.real, Z.imag), None),
        ("a,b,c,d", ",", ".", (HZ, HZ, Z.real / 1e3, Z.imag), "hz,skip,re_ohm,im_ohm"),
        ("when_s,frequency_hz,impedance_phase_deg,impedance_kohm", ",", ".",
         (HZ, HZ, np.degrees(np.angle(Z)), np.abs(Z) / 1e3), None),
    ],
)  # fmt: skip
def test_understood(
    head: str, mark: str, sign: str, rows: tuple[np.ndarray, ...] | None, columns: str | None, tmp_path: Path
) -> None:
    text = "\r\n".join(([head] if head else []) + lines(mark, sign, rows)) + "\r\n"
    found = read_sweep(written(tmp_path, text), None if columns is None else parse_columns(columns))
    assert isinstance(found, Sweep) and found.hz == pytest.approx(HZ, rel=1e-4)
    expected = Z if columns is None else Z.real / 1e3 + 1j * Z.imag
    assert found.impedance == pytest.approx(expected, rel=2e-4)


def changed(number: int, row: str) -> str:
    text = ["hz,ohm,deg", *lines()]
    text[number - 1] = row
    return "\n".join(text)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", ":1: file: is empty"),
        ("# only words\n\n", ":1: file: is empty"),
        ("hz,ohm,deg\n", ":1: file: holds a header and no line of data"),
        (changed(7, "30,abc,5"), ":7: ohm: 'abc' is not a number"),
        (changed(7, "30,,5"), ":7: ohm: '' is not a number"),
        (changed(7, "30,nan,5"), ":7: ohm: 'nan' is not a finite number"),
        (changed(7, "30,5"), ":7: columns: 2 columns where 3 are expected"),
        (changed(7, "30,5,1,2"), ":7: columns: 4 columns where 3 are expected (hz, ohm, deg); dec"),
        (changed(7, "10,5,1"), ":7: frequency: 10 Hz is below the line before"),
        (changed(2, "-10,5,1"), ":2: frequency: -10 Hz must be above 0"),
        (changed(7, lines()[4]), ":7: frequency: 37.7478 Hz is there twice"),
        (changed(7, "45,-5,1"), ":7: magnitude: -5 ohm must be above 0"),
        (changed(7, "45,1e300,1"), ":7: magnitude: 1e+300 ohm must be at most 1e+06"),
        (changed(7, "45,5,120"), ":7: phase: 120 degrees is beyond -90 to 90"),
        ("hz,re_ohm,im_ohm\n20,-1,3", ":2: real: -1 ohm must be above 0"),
        ("\n".join(lines()[:10]), ":10: file: 10 frequencies are too few"),
        ("frequency_hz,magnitude_ohm,phase\n1,2,3", ":1: phase: phase has no unit"),
        ("frequency_ohm,magnitude_ohm,phase_deg\n1,2,3", ":1: frequency_ohm: frequency cannot be in ohm"),
        ("frequency_hz,level_db\n1,2", ":1: columns: needs magnitude and phase, or real and imaginary part"),
        ("ohm,deg\n1,2", ":1: columns: there is no column of frequency"),
        ("hz,hz,deg\n1,2,3", ":1: columns: frequency is there 2 times"),
        ("hz;ohm;deg\n20;1.000,5;3", ":2: ohm: '1.000,5': decimal commas and points are mixed"),
        ("hz;ohm;deg\n20;4,5;3\n30;1.000;3", ":3: ohm: '1.000': decimal commas and points are mixed"),
        (b"hz,ohm,deg\n20,\xff,3", ":2: file: not UTF-8 text: byte 0xff"),
        (b"hz,ohm,deg\n20,\0,3", ":1: file: holds zero bytes"),
    ],
)  # fmt: skip
def test_faults_name_file_and_line(text: str | bytes, fault: str, tmp_path: Path) -> None:
    path = written(tmp_path, text)
    with pytest.raises(ConfigError) as raised:
        read_sweep(path)
    assert f"{path}{fault}" in str(raised.value)


def test_faults_of_a_file_come_together(tmp_path: Path) -> None:
    text = changed(7, "30,abc,5").replace(lines()[9], "oh,5,1")
    with pytest.raises(ConfigError) as raised:
        read_sweep(written(tmp_path, text))
    assert [(f.line, f.key) for f in raised.value.faults] == [(7, "ohm"), (11, "hz")]


def test_missing_folder_and_huge(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for path, words in ((tmp_path / "none.csv", "no such file"), (tmp_path, "is a directory")):
        with pytest.raises(ConfigError, match=words):
            read_sweep(path)
    monkeypatch.setattr(measured_csv, "LARGEST_BYTES", 100)
    with pytest.raises(ConfigError, match="is larger than"):
        read_sweep(written(tmp_path, "\n".join(lines())))


def test_columns_by_hand() -> None:
    assert parse_columns("hz, ohm,deg") == ("hz", "ohm", "deg")
    with pytest.raises(ValueError, match="'volt' is none of hz"):
        parse_columns("hz,volt,deg")
    with pytest.raises(ValueError, match="needs magnitude and phase"):
        parse_columns("hz,ohm")
    assert columns_of_header(["Frequenz Hz", "Betrag Ohm", "Lage deg"])[0] == ("hz", "skip", "deg")
