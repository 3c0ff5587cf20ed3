"""The public summary: scores, reasons and curves, and no dimension of any design, in any unit or rounding."""

from __future__ import annotations

import base64
import json
import math
import re
import struct
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from optimizer.public_words import UNNAMED, is_public, public_name, public_sentences
from optimizer.run_folder import draw_run, read_run, write_run
from tests.optimizer.conftest import hand_made_result

VENTED = """
topology = "vented box"
[chambers.A]
sides_mm = [153.37, 189.43, 143.79]
[[drivers]]
front = "outside"
front_patch = { wall = "x-", at_mm = [61.87, 94.73] }
rear = "A"
[[ducts]]
name = "port 67.43 mm"
from = "A"
to = "outside"
to_patch = { wall = "x-", at_mm = [178.33, 91.27] }
area_cm2 = 9.173
length_mm = 67.43
"""

UNUSUAL = """
[chambers.A]
sides_mm = [143.17, 96.41, 138.59]
[chambers.B]
sides_mm = [143.17, 83.29, 138.59]
[[drivers]]
front = "A"
rear = "B"
[[ducts]]
name = "one"
from = "A"
to = "B"
area_cm2 = 7.413
length_mm = 47.93
[[ducts]]
name = "two"
from = "A"
to = "outside"
area_cm2 = 6.871
length_mm = 39.17
[[ducts]]
name = "three"
from = "B"
to = "outside"
area_cm2 = 5.237
length_mm = 58.61
"""

LEAKS = (
    "Chambers: A 4.18 l and B 1.65 l; port 9.2 cm2 by 67 mm; 72.1 % of the envelope's inside is taken.",
    "It is 153.4 mm deep.",
    "It is 15.3 cm, or 6.04 in, deep.",
    "Its port is 67.43mm long.",
    "Less sure: room A is 189 mm across, with its first mode there at 905 Hz.",
    "It takes 153.37 of something new.",
    "Candidate 2 does better in: printed material 837 cm3, not 1184 cm3; outer volume 5.1 l, not 6.0 l.",
    "The next type, graph AB/AB.Ao.Bo, comes within 0.10 dB.",
    "It is a box of this kind: driver between A and B; A opens outside.",
)
MIXED = "Candidate 2 does better in: spread between tones 8.1 dB, not 10.7 dB; outer volume 5.993 l, not 6 l."
FINE = (
    "Stopped by the power limit at 112 Hz and 224 Hz; by cone excursion at 160 Hz (court).",
    "Designed anew, it would gain 0.96 dB per mm of excursion and 0.24 dB per W of power.",
    "3 of 3 restarts of this type ended within 0.05 dB of its best, 136.31 dB.",
    "Its average is 0.10 dB below candidate 1.",
)


@pytest.fixture
def design_paths(tmp_path):
    """A vented box and one without a trade name, of odd sizes that nothing else would show."""
    paths = []
    for name, text in (("vented", VENTED), ("unusual", UNUSUAL)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
        paths.append(tmp_path / f"{name}.toml")
    return paths


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where the run is written, once."""
    return tmp_path_factory.mktemp("public") / "run"


@pytest.fixture
def finished(folder, season, designs):
    """A run folder whose reasons, roles and names try to give dimensions away."""
    if not folder.exists():
        result = hand_made_result(season, designs)
        candidates = tuple(
            replace(c, reasons=(*FINE, MIXED, *LEAKS), role=f"highest output; best {c.topology} of 153.4 mm")
            for c in result.candidates
        )
        draw_run(write_run(folder, season, replace(result, candidates=candidates)))
    return read_run(folder)


@pytest.fixture
def published(run, finished):
    """JSON and page, as the command writes them."""
    page, data = (finished.folder / name for name in ("public.html", "public.json"))
    if not page.exists():
        status, output, errors = run("report", finished.folder, "--public")
        assert status == 0, errors
        assert output.splitlines() == [str(page), str(data)]
    return json.loads(data.read_text(encoding="utf-8")), page.read_text(encoding="utf-8")


def dimensions(run):
    """Every number of the designs' files and what follows from it, in several units, at both sizes."""
    lengths, areas, volumes = set(), set(), set()
    for candidate in run.candidates:
        text = (run.folder / candidate["design"]).read_text(encoding="utf-8")
        for table in _tables(tomllib.loads(text)):
            for key, value in table.items():
                values = value if isinstance(value, list) else [value]
                if key.endswith("_mm") and key != "bends_mm":
                    lengths |= {abs(v) * 1e-3 for v in values if v}
                elif key.endswith("_cm2"):
                    areas |= {v * 1e-4 for v in values}
            if "sides_mm" in table:
                volumes.add(math.prod(table["sides_mm"]) * 1e-9)
        volumes.add(candidate["objectives"]["material_cm3"] * 1e-6)
    lengths |= {2.0 * math.sqrt(area / math.pi) for area in areas}
    assert len(lengths) > 20 and len(areas) == 4 and len(volumes) == 5
    for n in (1.0, 4.0):
        for length in lengths:
            yield from (length * n * unit for unit in (1e3, 1e2, 1.0, 1.0 / 0.0254, 1.0 / 0.3048))
        for area in areas:
            yield from (area * n**2 * unit for unit in (1e6, 1e4, 1.0, 1.0 / 0.0254**2))
        for volume in volumes:
            units = (1e9, 1e6, 1e3, 1.0, 1.0 / 0.0254**3, 1.0 / 0.3048**3)
            yield from (volume * n**3 * unit for unit in units)


def _tables(table):
    """A table and all tables within it."""
    if isinstance(table, dict):
        yield table
        for inner in table.values():
            yield from _tables(inner)
    elif isinstance(table, list):
        for inner in table:
            yield from _tables(inner)


def plain(text):
    """A number without zeros that say nothing."""
    return f"{float(text):.10f}".rstrip("0").rstrip(".")


def roundings(value, least):
    """A number as it may be written, with at least so many digits that are not zeros at an end."""
    texts = {f"{value:.{digits}g}" for digits in range(least, 9)} | {f"{value:.{n}f}" for n in range(7)}
    return {p for p in map(plain, texts) if len(p.replace(".", "").strip("0")) >= least}


def found_in(text, run, least):
    """Numbers of the designs that a text holds."""
    tokens = {plain(found) for found in re.findall(r"(?<![\d.])\d+(?:\.\d+)?(?!\d)", text)}
    known = set().union(*(roundings(value, least) for value in dimensions(run)))
    return tokens & known


XLINK = "{http://www.w3.org/1999/xlink}"

GEOMETRY = {
    "d", "x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "r", "transform", "points", "width", "height",
    "viewBox", "style", "id", f"{XLINK}href", "clip-path",
}  # fmt: skip
"""Attributes that place a drawing on its page, and draw its lines."""


def png_words(picture):
    """Texts that a PNG file holds beside its points."""
    at, words = 8, []
    while at < len(picture):
        size, kind = struct.unpack(">I4s", picture[at : at + 8])
        assert kind in (b"IHDR", b"IDAT", b"IEND", b"pHYs", b"tEXt"), kind
        if kind == b"tEXt":
            words.append(picture[at + 8 : at + 8 + size].decode("latin-1"))
        at += 12 + size
    return words


def svg_words(page):
    """Texts, comments, which hold the words of drawn letters, and all attributes but those of drawing."""
    words = []
    for data in re.findall(r"data:image/([\w+]+);base64,([A-Za-z0-9+/=]+)", page):
        assert data[0] == "svg+xml"
        picture = base64.b64decode(data[1])
        parser = ET.XMLParser(target=ET.TreeBuilder(insert_comments=True, insert_pis=True))
        for element in ET.fromstring(picture, parser).iter():
            words += [element.text or "", element.tail or ""]
            words += [value for key, value in element.attrib.items() if key not in GEOMETRY]
            if str(element.tag).rpartition("}")[2] == "image":  # the shades of a table
                kind, _, inner = element.attrib[f"{XLINK}href"].partition(",")
                assert kind == "data:image/png;base64"
                words += png_words(base64.b64decode(inner))
    assert words
    return "\n".join(words)


def strings(data):
    """All texts in plain data, keys too."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield key
            yield from strings(value)
    elif isinstance(data, list):
        for value in data:
            yield from strings(value)
    elif isinstance(data, str):
        yield data


def numbers(data):
    """All numbers in plain data but those of curves."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from () if key == "curves" else numbers(value)
    elif isinstance(data, list):
        for value in data:
            yield from numbers(value)
    elif isinstance(data, float):
        yield abs(data)


def test_no_dimension_in_any_word(published, finished):
    """Texts of the data, of the page and of its figures, down to three digits.

    Of so few digits some numbers are those of a level or a drive by chance; these may stand there.
    """
    record, page = published
    text = re.sub(r"<style>.*?</style>|data:image/[^\"]*", "", page, flags=re.DOTALL)
    told = {plain(f"{value:.{digits}f}") for value in numbers(record) for digits in range(3)}
    for words in ("\n".join(strings(record)), text, svg_words(page)):
        assert found_in(words, finished, 3) - told == set()
        assert found_in(words, finished, 5) == set()
        assert "AB/" not in words and not re.search(r"\bport\b", words)


def test_no_dimension_in_any_number(published, finished):
    """All of both files, numbers of curves too, from five digits on; fewer would meet levels by chance."""
    record, page = published
    assert found_in(json.dumps(record), finished, 5) == set()
    assert found_in(re.sub(r"data:image/[^\"]*", "", page), finished, 5) == set()


def test_the_search_for_numbers_finds_them(finished):
    """The ordinary report, whose designs are printed, does not pass what the public one does."""
    report = (finished.folder / "report.html").read_text(encoding="utf-8")
    assert len(found_in(re.sub(r"data:image/[^\"]*", "", report), finished, 3)) > 20
    assert {"153.37", "153.4", "15.34", "6.038", "613.5"} <= roundings(153.37, 3) | roundings(
        15.337, 3
    ) | roundings(153.37 / 25.4, 3) | roundings(4 * 153.37, 3)


def test_numbers_are_levels_drives_and_times_alone(published, finished):
    """Keys are those that are meant; curves are the levels of ``response.csv``, rounded."""
    record, _ = published
    for told, candidate in zip(record["candidates"], finished.candidates, strict=True):
        assert set(told) == {
            "rank", "role", "topology", "score_db", "fits", "objectives", "reasons", "prices", "spaces",
            "curves",
        }  # fmt: skip
        assert set(told["objectives"]) == {"output_db", "worst_tone_db", "evenness_db"}
        assert told["score_db"] == pytest.approx(candidate["score_db"], abs=0.0051)
        for space in told["spaces"]:
            assert set(space) == {"name", "weight", "mean_db", "tones"}
            for tone in space["tones"]:
                assert set(tone) == {
                    "hz", "level_db", "drive_v_rms", "current_a_rms", "real_power_w", "limit", "margins_db",
                    "exposure",
                }  # fmt: skip
        rows = finished.curves(candidate["rank"])
        for name, curve in told["curves"].items():
            assert set(curve) == {"hz", "level_db"}
            mine = [float(row["level_db"]) for row in rows if row["space"] == name]
            assert curve["level_db"] == pytest.approx(mine, abs=0.0501)


def test_what_is_told(published):
    """Scores, reasons, curves and cautions are there; the box without a trade name keeps its secret."""
    record, page = published
    names = {one["topology"] for one in record["candidates"]}
    assert names == {"vented box", UNNAMED}
    for one in record["candidates"]:
        assert one["reasons"] == [*FINE, MIXED.replace("; outer volume 5.993 l, not 6 l", "")]
        assert one["role"] == "highest output" and one["curves"]
    assert record["summary"][0].startswith(f"The first-ranked box is: {record['candidates'][0]['topology']}.")
    assert "Exposure to the first-ranked box" in page and page.count("<img ") == 4
    assert not re.search(r"<script|https?://", page)


@pytest.mark.parametrize("sentence", FINE)
def test_plain_reasons_pass(sentence):
    assert is_public(sentence)


@pytest.mark.parametrize("sentence", LEAKS)
def test_dimensions_do_not_pass(sentence):
    assert not is_public(sentence) and public_sentences([sentence]) == []


def test_names():
    assert public_name("tapped horn") == "tapped horn"
    assert public_name("driver between A and B; A opens outside") == UNNAMED
    assert public_name("box of 153 mm") == UNNAMED


def test_a_damaged_folder_is_a_fault(run, season, result, tmp_path):
    folder = write_run(tmp_path / "run", season, result).folder
    (folder / "candidates.json").write_text('[{"rank": 1}]', encoding="utf-8")
    status, _, errors = run("report", folder, "--public")
    assert status == 2 and "candidates[0].role: missing" in errors and not (folder / "public.json").exists()
