"""A plan as JSON: the arrangement and its variables, from which everything else follows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from models.arrangement import Arrangement, Block, Cut, Leaf, Mount, Node, Opening
from models.plan import PlanBatch, lay
from models.plan_checks import faults
from models.rules import Rules
from models.topology import Topology
from optimizer.faults import ConfigError, Fault
from optimizer.files import write_json
from optimizer.run_folder import json_of


def write_plan(
    path: Path, arrangement: Arrangement, x: np.ndarray, diaphragm_areas: tuple[float, ...]
) -> None:
    """Write a plan.

    Parameters
    ----------
    path : Path
        JSON file [path].
    arrangement : Arrangement
        Which part lies where [record].
    x : ndarray, shape (dimensions,)
        Variables of :func:`models.plan.lay` [1].
    diaphragm_areas : tuple of float
        Effective area of each diaphragm [m2].
    """
    topology = arrangement.topology
    write_json(
        path,
        {
            "topology": {
                "chambers": topology.chambers,
                "drivers": topology.drivers,
                "ducts": topology.ducts,
                "diaphragms": topology.diaphragms,
            },
            "height_axis": arrangement.height_axis,
            "cuts": _written(arrangement.tree),
            "leaves": [[leaf.kind, leaf.index] for leaf in arrangement.leaves],
            "blocks": [
                {
                    "run": block.run,
                    "lanes": block.lanes,
                    "first_high": block.first_high,
                    "start_high": block.start_high,
                    "openings": [
                        {"sideways": o.sideways, "face": list(o.face), "leaf": o.leaf} for o in block.openings
                    ],
                }
                for block in arrangement.blocks
            ],
            "mounts": [
                {"leaf": mount.leaf, "face": list(mount.face), "other": mount.other}
                for mount in arrangement.mounts
            ],
            "x": [float(value) for value in x],
            "diaphragm_areas_cm2": [area * 1e4 for area in diaphragm_areas],
        },
    )


def read_plan_file(path: Path, rules: Rules) -> PlanBatch:
    """Plan of a file that :func:`write_plan` wrote.

    Raises
    ------
    ConfigError
        The file is missing or damaged, or its plan cannot be built under the season's rules.
    """

    def refuse(message: str) -> ConfigError:
        return ConfigError([Fault(str(path), 1, "plan", message)])

    try:
        data = json_of(path)
        arrangement = _arrangement(data)
        areas = tuple(float(a) * 1e-4 for a in data["diaphragm_areas_cm2"])
        x = np.array([data["x"]], dtype=float)
        if x.shape != (1, arrangement.dimensions) or not np.all((x >= 0.0) & (x <= 1.0)):
            raise ValueError(f"x must hold {arrangement.dimensions} numbers from 0 to 1")
        plan = lay(arrangement, rules, x, areas)
    except FileNotFoundError:
        raise refuse("no such file; boxwright build makes it") from None
    except OSError as error:
        raise refuse(f"cannot be read: {error.strerror}") from None
    except (ValueError, KeyError, TypeError, IndexError, RecursionError) as error:
        raise refuse(f"damaged: {error!r}") from None
    if wrong := faults(plan):
        raise refuse("cannot be built: " + "; ".join(wrong))
    return plan


def _written(node: Node) -> Any:
    if isinstance(node, int):
        return node
    return {"axis": node.axis, "low": _written(node.low), "high": _written(node.high)}


def _node(data: Any) -> Node:
    return data if isinstance(data, int) else Cut(int(data["axis"]), _node(data["low"]), _node(data["high"]))


def _face(data: Any) -> tuple[int, bool]:
    return int(data[0]), bool(data[1])


def _edges(data: Any) -> tuple[tuple[int, int], ...]:
    return tuple((int(a), int(b)) for a, b in data)


def _arrangement(data: Any) -> Arrangement:
    graph = data["topology"]
    blocks = []
    for block in data["blocks"]:
        openings = [
            Opening(sideways=bool(o["sideways"]), face=_face(o["face"]), leaf=int(o["leaf"]))
            for o in block["openings"]
        ]
        blocks.append(
            Block(
                run=int(block["run"]),
                lanes=int(block["lanes"]),
                first_high=bool(block["first_high"]),
                start_high=bool(block["start_high"]),
                openings=(openings[0], openings[1]),
            )
        )
    return Arrangement(
        topology=Topology(
            chambers=int(graph["chambers"]),
            drivers=_edges(graph["drivers"]),
            ducts=_edges(graph["ducts"]),
            diaphragms=_edges(graph["diaphragms"]),
        ),
        height_axis=int(data["height_axis"]),
        tree=_node(data["cuts"]),
        leaves=tuple(Leaf(kind, int(index)) for kind, index in data["leaves"]),
        blocks=tuple(blocks),
        mounts=tuple(
            Mount(leaf=int(m["leaf"]), face=_face(m["face"]), other=int(m["other"])) for m in data["mounts"]
        ),
    )
