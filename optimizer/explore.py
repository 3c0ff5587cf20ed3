"""What the report's page lets a reader explore: many designs with their sizes, files and curves.

One file of plain JSON in the run folder, so that the page can be made again from the folder alone and
other programs can read it. A design's file is kept as a text with gaps, shared by all designs that differ
in numbers and walls only, and the values that fill them: a fifth of the texts, and the same characters.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from models.catalogue import design_names
from models.design import DesignBatch
from models.score import Responses
from models.topology import place_letter
from optimizer.curves import CurveMaker
from optimizer.design_writing import write_design
from optimizer.results import ExploredDesigns, SearchResult
from optimizer.season import Season

EXPLORE = "explore.json"
"""Name of the file in the run folder."""

GAP = "\u0001"
"""What stands for a value in the shared text of design files."""

CURVE_POINTS = 32
"""Frequencies of a curve, besides the tones."""

CURVE_NUMBERS = 600_000
"""Numbers of all curves together; designs beyond have none, candidates and front come first."""

STEPS = {"level_db": 0.1, "excursion_mm": 0.01, "air_speed_m_s": 0.1, "impedance_ohm": 0.05}
"""Curves and the steps that they are rounded to, finer than a pixel."""

_VALUE = re.compile(r'(?<![\w.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w.])|"[xyz][-+]"')


def explore_record(season: Season, result: SearchResult) -> dict[str, Any]:
    """Content of the file.

    Parameters
    ----------
    season : Season
        The season [record].
    result : SearchResult
        What the search found [record].

    Returns
    -------
    dict
        Columns over all designs, candidates first, then the front, then the others by output: ``graph``
        and ``topology`` (``names`` and ``of``), ``candidate`` and ``front`` (rank and row, or 0),
        ``objectives``, ``dimensions``, ``files`` (``texts`` with gaps, ``of`` and ``values``), ``curves``
        (``hz``, ``spaces``, and by name ``step`` and ``rows``: the first designs' values in steps, each
        space's as differences along frequency) [mixed].
    """
    groups = [*_candidates(result), *((0, group) for group in result.explored)]
    first = groups[0][1].objectives if groups else {}
    keys = [key for key in first if all(key in group.objectives for _, group in groups)]
    designs = [
        (rank, group, row, _order(rank, group, row))
        for rank, group in groups
        for row in range(group.front.size)
    ]
    designs.sort(key=lambda one: one[3])
    curve_maker = CurveMaker(season.rules, season.scale, CURVE_POINTS)
    names = {id(group): design_names(group.design) for _, group in groups}
    sizes = {id(group): _dimensions(group.design) for _, group in groups}
    labels = sorted({label for columns in sizes.values() for label in columns}, key=_label_order)
    return {
        "graph": _indexed([group.graph for _, group, _, _ in designs]),
        "topology": _indexed([names[id(group)][row] for _, group, row, _ in designs]),
        "candidate": [rank for rank, _, _, _ in designs],
        "front": [int(group.front[row]) for _, group, row, _ in designs],
        "objectives": {
            key: [_rounded(group.objectives[key][row], 7) for _, group, row, _ in designs] for key in keys
        },
        "dimensions": [
            {
                "name": name,
                "unit": unit,
                "values": [
                    _rounded(columns[name, unit][row], 5) if (name, unit) in columns else None
                    for columns, row in ((sizes[id(group)], row) for _, group, row, _ in designs)
                ],
            }
            for name, unit in labels
        ],
        "files": _files([(group.design, row, names[id(group)][row]) for _, group, row, _ in designs]),
        "curves": _curves([(group, row) for _, group, row, _ in designs], curve_maker),
    }


def _candidates(result: SearchResult) -> Iterator[tuple[int, ExploredDesigns]]:
    for candidate in result.candidates:
        values = {key: np.array([value]) for key, value in candidate.objectives.items()}
        yield (
            candidate.rank,
            ExploredDesigns(
                graph=candidate.graph, design=candidate.design, objectives=values, front=np.zeros(1, int)
            ),
        )


def _order(rank: int, group: ExploredDesigns, row: int) -> tuple[Any, ...]:
    front = int(group.front[row])
    return rank == 0, rank, front == 0, front, -float(group.objectives["output_db"][row]), group.graph, row


def _indexed(texts: list[str]) -> dict[str, Any]:
    names = list(dict.fromkeys(texts))
    place = {name: index for index, name in enumerate(names)}
    return {"names": names, "of": [place[text] for text in texts]}


def _rounded(value: float, digits: int) -> float | None:
    return float(f"{value:.{digits}g}") if np.isfinite(value) else None


def _dimensions(batch: DesignBatch) -> dict[tuple[str, str], np.ndarray]:
    """Sizes of a batch by name and unit."""
    sizes = {}
    for chamber in range(batch.topology.chambers):
        volume = batch.sides[:, chamber].prod(axis=1)  # with the driver in it, as in plans and reasons
        sizes[f"chamber {place_letter(chamber)}", "l"] = volume * 1e3
    for number, duct in enumerate(batch.ducts, start=1):
        sizes[f"duct {number} area", "cm2"] = duct.area * 1e4
        if duct.area_end is not None:
            sizes[f"duct {number} end area", "cm2"] = duct.area_end * 1e4
        sizes[f"duct {number} length", "mm"] = duct.length * 1e3
    for number, diaphragm in enumerate(batch.diaphragms, start=1):
        sizes[f"diaphragm {number} area", "cm2"] = diaphragm.area * 1e4
        sizes[f"diaphragm {number} mass", "g"] = diaphragm.mass * 1e3
        sizes[f"diaphragm {number} compliance", "mm/N"] = diaphragm.compliance * 1e3
    return sizes


def _label_order(label: tuple[str, str]) -> tuple[int, str]:
    kinds = ("chamber", "duct", "diaphragm")
    return kinds.index(label[0].split()[0]), label[0]


def _files(designs: list[tuple[DesignBatch, int, str]]) -> dict[str, Any]:
    """Design files as shared texts with gaps, and what fills them."""
    texts: dict[str, int] = {}
    of, values = [], []
    for batch, row, name in designs:
        text, filling = with_gaps(write_design(batch, row, label=name))
        of.append(texts.setdefault(text, len(texts)))
        values.append(filling)
    return {"texts": list(texts), "of": of, "values": values}


def with_gaps(text: str) -> tuple[str, list[float | str]]:
    """A design file's text with gaps in place of its numbers and walls, and those in order.

    Parameters
    ----------
    text : str
        Text of :func:`optimizer.design_writing.write_design` [text].

    Returns
    -------
    tuple of str and list
        The text with gaps; numbers, and walls as texts [mixed].
    """
    lines, values = [], list[float | str]()

    def keep(found: re.Match[str]) -> str:
        values.append(json.loads(found[0]))
        return f'"{GAP}"' if found[0].startswith('"') else GAP

    for line in text.splitlines():
        key, equals, value = line.partition(" = ")
        filled = not equals or value.startswith('"')  # headings, names
        lines.append(line if filled else key + equals + _VALUE.sub(keep, value))
    return "\n".join(lines) + "\n", values


def _curves(designs: list[tuple[ExploredDesigns, int]], maker: CurveMaker) -> dict[str, Any]:
    hz = maker.judge.tones_hz
    spaces = [space.name for space in maker.rules.spaces]
    count = min(len(designs), CURVE_NUMBERS // (len(STEPS) * len(spaces) * hz.size))
    rows: dict[str, list[list[int] | None]] = {name: [None] * count for name in STEPS}
    wanted: dict[int, list[tuple[int, int]]] = {}
    groups = {id(group): group for group, _ in designs}
    for place, (group, row) in enumerate(designs[:count]):
        wanted.setdefault(id(group), []).append((place, row))
    for key, places in wanted.items():
        picked = groups[key].design.rows(np.array([row for _, row in places]))
        for name, values in _quantities(maker.respond(picked)).items():
            for (place, _), one in zip(places, values, strict=True):
                if np.isfinite(one).all():
                    steps = np.rint(one / STEPS[name]).astype(int)
                    rows[name][place] = np.diff(steps, axis=1, prepend=0).ravel().tolist()
    return {
        "hz": [_rounded(f, 6) for f in hz],
        "spaces": spaces,
        "quantities": {name: {"step": step, "rows": rows[name]} for name, step in STEPS.items()},
    }


def _quantities(responses: Responses) -> dict[str, np.ndarray]:
    """Curves of a batch, each of shape (n_designs, n_spaces, n_frequencies), in the order of the steps."""
    speed = responses.air_speed
    still = np.zeros(responses.level_db.shape)
    return {
        "level_db": responses.level_db,
        "excursion_mm": responses.excursion.max(axis=-1) * 1e3,
        "air_speed_m_s": speed.max(axis=-1) if speed.shape[-1] else still,
        "impedance_ohm": np.abs(responses.impedance),
    }
