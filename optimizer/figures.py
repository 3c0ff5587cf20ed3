"""All figures of a run folder as matplotlib makes them, and how a figure is saved as PNG and SVG."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from models.catalogue import short_label
from models.topology import parse_graph_id
from optimizer.figures_front import front_figure, topologies_figure
from optimizer.figures_graph import graph_figure
from optimizer.figures_plan import plan_figure
from optimizer.figures_response import response_figure
from optimizer.figures_spread import spread_candidates, spread_figure
from optimizer.figures_tones import tones_figure
from optimizer.files import write_bytes
from optimizer.style import DOTS_PER_INCH, FIGURE_STYLE

if TYPE_CHECKING:
    from optimizer.run_folder import Run

def figure_makers(run: Run) -> Iterator[tuple[str, Callable[[], Figure]]]:
    """Every figure of a run: its place without the suffix, and how to draw it.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Yields
    ------
    tuple of str and callable
        Path relative to the folder, and a function that draws the figure [mixed].
    """
    scale, source = run.record["scale"], run.record["source"]
    tones = [tone["hz"] for tone in source["tones"]]
    for candidate in run.candidates:
        place = str(Path(candidate["design"]).parent)
        title = f"{candidate['rank']}. {short_label(candidate['topology'], candidate['graph'])}"
        evaluation, rank = candidate["evaluation"], candidate["rank"]
        yield f"{place}/graph", partial(graph_figure, title, parse_graph_id(candidate["graph"]))
        yield f"{place}/tones", partial(tones_figure, f"{title}: tones and limits", evaluation, scale)
        if (run.folder / place / "plan.json").is_file():
            yield f"{place}/plan", partial(plan_figure, title, run.folder / place, source)
        curves = (f"{title}: at the permitted drive", run.curves(rank), tones, source["limits"], scale)
        yield f"{place}/response", partial(response_figure, *curves)
    if run.shows_front:
        yield "front", partial(front_figure, run.front, run.candidates, run.record["objectives"])
    if any(row["best_db"] for row in run.topologies):
        yield "topologies", partial(topologies_figure, run.topologies)
    if told := spread_candidates(run.candidates):
        yield "spread", partial(spread_figure, told)


def figure_of(run: Run, place: str) -> Figure:
    """One figure of a run, drawn but not saved.

    Parameters
    ----------
    run : Run
        The folder's content [record].
    place : str
        Path relative to the folder without the suffix, such as ``candidates/01/tones`` [text].

    Returns
    -------
    Figure
        The figure [record].

    Raises
    ------
    LookupError
        The run has no such figure.
    """
    makers = dict(figure_makers(run))
    if place not in makers:
        raise LookupError(f"this run has no figure {place!r}; it has {', '.join(makers) or 'none'}")
    with matplotlib.rc_context(FIGURE_STYLE):
        return makers[place]()


def draw_figure(make: Callable[[], Figure], stem: Path) -> np.ndarray:
    """Draw one figure and save it; returns the pixels of its PNG, shape (height, width, 4)."""
    with matplotlib.rc_context(FIGURE_STYLE):
        return save_figure(make(), stem)


def save_figure(figure: Figure, stem: Path) -> np.ndarray:
    """Save a figure beside each other as PNG and SVG, the same bytes for the same figure.

    Parameters
    ----------
    figure : Figure
        The figure [record].
    stem : Path
        The files without their suffix [path].

    Returns
    -------
    ndarray of uint8, shape (height, width, 4)
        Pixels of the PNG, red, green, blue and opacity [1].
    """
    canvas: Any = FigureCanvasAgg(figure)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        if (engine := figure.get_layout_engine()) is not None:
            engine.execute(figure)
            figure.set_layout_engine(None)  # laid out once, not once a file and once more before each
        figure.set_dpi(DOTS_PER_INCH)
        _save(figure, stem, "png", {"Software": None})
        pixels = np.array(canvas.buffer_rgba())
        _save(figure, stem, "svg", {"Date": None})
    return pixels


def _save(figure: Figure, stem: Path, suffix: str, metadata: dict[str, Any]) -> None:
    image = io.BytesIO()
    figure.savefig(image, format=suffix, dpi=DOTS_PER_INCH, metadata=metadata)
    write_bytes(stem.with_name(f"{stem.name}.{suffix}"), image.getvalue())
