"""Figures: texts apart and inside, both frequency axes, band and limits, colours that can be told apart."""

from __future__ import annotations

import itertools
from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import same_color, to_rgb
from matplotlib.text import Text

from models.topology import parse_graph_id
from optimizer.figures import figure_makers
from optimizer.figures_front import front_figure
from optimizer.figures_graph import graph_figure
from optimizer.figures_response import response_figure
from optimizer.figures_tones import tones_figure
from optimizer.run_folder import write_run
from optimizer.style import BAND, COLOURS, FIGURE_STYLE, INK, LIMIT, NotebookFigure


@pytest.fixture
def styled():
    with matplotlib.rc_context(FIGURE_STYLE):
        yield


def boxes(figure) -> list:
    """Text and box in pixels of all that is written when the figure is drawn."""
    written = []
    draw = Text.draw

    def note(text, renderer, *arguments, **keywords) -> None:
        if text.get_visible() and text.get_text().strip():
            written.append((text.get_text(), Text.get_window_extent(text, renderer)))  # without its arrow
        draw(text, renderer, *arguments, **keywords)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Text, "draw", note)
        FigureCanvasAgg(figure).draw()
    return written


def faults(figure) -> list[str]:
    """Texts that overlap each other or leave the figure."""
    found = boxes(figure)
    width, height = figure.get_size_inches() * figure.dpi
    wrong = [
        f"{text!r} leaves the figure"
        for text, box in found
        if box.x0 < -1 or box.y0 < -1 or box.x1 > width + 1 or box.y1 > height + 1
    ]
    for (one, a), (two, b) in itertools.combinations(found, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        high = min(a.y1, b.y1) - max(a.y0, b.y0)
        if wide > 1.5 and high > 1.5:
            wrong.append(f"{one!r} and {two!r} overlap")
    return wrong


def rows_of(spaces: list[str], tones: int = 40) -> list[dict[str, str]]:
    hz = np.geomspace(56.0, 496.0, tones)
    return [
        {"space": space, "hz": f"{f}", "level_db": f"{120 + 9 * np.sin(f / 30)}", "drive_v_rms": "8.0",
         "excursion_mm": "3.0", "air_speed_m_s port": f"{f / 30}", "impedance_ohm": "6.0"}
        for space in spaces for f in hz
    ]  # fmt: skip


LIMITS = {"excursion_mm": 3.0, "air_speed_m_s": 25.0, "amplifier_v": 30.0, "power_w": 12.0}


def test_every_figure_of_a_run(styled, season, result, tmp_path) -> None:
    run = write_run(tmp_path / "run", season, result)
    found = {place: faults(make()) for place, make in figure_makers(run)}
    assert len(found) == 11 and not {place: wrong for place, wrong in found.items() if wrong}


FOUR, MANY = [112.0, 144.0, 188.0, 248.0], [100.0 + 7.0 * i for i in range(30)]


@pytest.mark.parametrize("tones", [[112.0], FOUR, MANY])
def test_response_with_few_and_many_tones(styled, tones) -> None:
    spaces = ["a space with quite a long name in it", "hatch open", "court", "field"]
    title = "2. two-chamber vented box: at the permitted drive"
    figure = response_figure(title, rows_of(spaces), tones, LIMITS, 4.0)
    assert faults(figure) == []


def test_response_shows_band_limits_and_both_axes(styled) -> None:
    figure = response_figure("1. closed box", rows_of(["court"]), [112.0, 248.0], LIMITS, 4.0)
    FigureCanvasAgg(figure).draw()
    panels = figure.get_axes()
    assert [panel.get_ylabel() for panel in panels] == [
        "level (dB)", "rms (V)", "peak (mm)", "peak (m/s)", "magnitude (ohm)",
    ]  # fmt: skip
    for panel in panels:
        (band,) = (p for p in panel.patches if same_color(p.get_facecolor(), BAND))
        box = band.get_extents().transformed(panel.transData.inverted())
        assert (box.x0, box.x1) == pytest.approx((112.0, 248.0))
    drawn = [text.get_text() for panel in panels for text in panel.texts if "limit" in text.get_text()]
    assert drawn == ["limit 30 V", "limit 3 mm", "limit 25 m/s"]
    (full,) = panels[0].child_axes
    np.testing.assert_allclose(np.array(full.get_xlim()) * 4.0, panels[0].get_xlim())
    assert full.get_xlabel() == "frequency, full size (Hz)"
    assert panels[-1].get_xlabel() == "frequency, model (Hz)"
    alone = response_figure("1. closed box", rows_of(["court"]), [112.0], LIMITS, 1.0)
    assert not alone.get_axes()[0].child_axes and alone.get_axes()[-1].get_xlabel() == "frequency (Hz)"


def test_candidates_on_one_spot_are_all_readable(styled, result) -> None:
    first = result.candidates[0]
    spot = {"output_db": 130.0, "evenness_db": 5.0, "material_cm3": 500.0}
    candidates = [
        {"rank": rank, "objectives": {key: value + 0.01 * rank for key, value in spot.items()}}
        for rank in range(1, 9)
    ]
    front = [
        {"topology": first.topology, "graph": first.graph}
        | {key: str(value * share) for key, value in spot.items()}
        for share in (0.9, 1.0, 1.1)
    ]
    assert faults(front_figure(front, candidates, ("output", "evenness", "material"))) == []


@pytest.mark.parametrize("graph", ["oA", "oA/Ao.Ao", "AB/AB.Ao", "AB/AB.AC.Bo.Co", "oA/AB.AC.BC.Ao.Bo.Co"])
def test_graphs(styled, graph) -> None:
    assert faults(graph_figure(f"12. graph {graph}", parse_graph_id(graph))) == []


def test_tones_of_many_limits(styled, result) -> None:
    evaluation = result.candidates[0].evaluation
    assert faults(tones_figure("1. vented box: tones and limits", evaluation, 4.0)) == []
    tone = evaluation["spaces"][0]["tones"][0]
    many = [dict(tone, hz=hz) for hz in MANY]
    spaces = [dict(evaluation["spaces"][0], tones=many)]
    assert faults(tones_figure("1. vented box: tones and limits", evaluation | {"spaces": spaces}, 4.0)) == []


# Full colour-vision deficiency in linear RGB, after G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A
# Physiologically-based Model for Simulation of Color Vision Deficiency" (2009), table for severity 1.0;
# matrices from memory.
DEFICIENT = {
    "none": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}


def seen(colour: str, matrix: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65; CIE 15:2004 and IEC 61966-2-1, formulas from memory) of a colour as it is seen."""
    rgb = np.array(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(matrix @ linear, 0.0, 1.0)
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x = to_xyz @ linear / (to_xyz @ np.ones(3))
    f = np.where(x > (6 / 29) ** 3, np.cbrt(x), x / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("kind", list(DEFICIENT))
def test_colours_can_be_told_apart(kind) -> None:
    """Curves of up to four spaces differ by well over a just noticeable difference (about 2.3)."""
    for one, two in itertools.combinations(COLOURS[:4], 2):
        assert np.linalg.norm(seen(one, DEFICIENT[kind]) - seen(two, DEFICIENT[kind])) > 18.0, (one, two)
    for colour in (*COLOURS, INK, LIMIT):
        contrast = np.linalg.norm(seen(colour, DEFICIENT[kind]) - seen(BAND, DEFICIENT[kind]))
        assert contrast > 30.0, colour


def test_figures_are_of_one_kind(styled, season, result, tmp_path) -> None:
    run = write_run(tmp_path / "run", season, replace(result, candidates=result.candidates[:1]))
    for _, make in figure_makers(run):
        figure = make()
        title = figure._suptitle
        assert isinstance(figure, NotebookFigure)
        assert title.get_fontweight() == "bold" and title.get_ha() == "left"
