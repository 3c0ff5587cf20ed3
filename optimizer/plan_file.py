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
from optimizer.files import json_of
from optimizer.laid_out import LaidOut


def plan_data(found: LaidOut) -> dict[str, Any]:
    """A plan as plain data: which part lies where, and the variables of :func:`models.plan.lay`.

    Parameters
    ----------
    found : LaidOut
        The plan [record].

    Returns
    -------
    dict
        Content of a plan file [mixed].
    """
    arrangement = found.plan.arrangement
    topology = arrangement.topology
    return {
        "topology": {
            "chambers": topology.chambers,
            "drivers": [list(edge) for edge in topology.drivers],
            "ducts": [list(edge) for edge in topology.ducts],
            "diaphragms": [list(edge) for edge in topology.diaphragms],
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
        "x": [float(value) for value in found.x],
        "diaphragm_areas_cm2": [float(one.area[0]) * 1e4 for one in found.design.diaphragms],
    }


def plan_of_data(
    data: dict[str, Any], rules: Rules, enlarged: float = 1.0
) -> tuple[PlanBatch, np.ndarray]:
    """Plan of plain data, whether it can be built under the rules or not, and its variables.

    Parameters
    ----------
    data : dict
        What :func:`plan_data` made [mixed].
    rules : Rules
        Envelope, driver and its excursion, at the size that the plan is wanted in [record].
    enlarged : float
        That size over the data's [1].

    Returns
    -------
    tuple of PlanBatch and ndarray, shape (dimensions,)
        A batch of one; variables of :func:`models.plan.lay` [1].

    Raises
    ------
    ValueError, KeyError, TypeError, IndexError, RecursionError
        The data are damaged.
    """
    arrangement = _arrangement(data)
    areas = tuple(float(a) * 1e-4 * enlarged**2 for a in data["diaphragm_areas_cm2"])
    x = np.array([data["x"]], dtype=float)
    if x.shape != (1, arrangement.dimensions) or not np.all((x >= 0.0) & (x <= 1.0)):
        raise ValueError(f"x must hold {arrangement.dimensions} numbers from 0 to 1")
    return lay(arrangement, rules, x, areas), x[0]


def load_plan(path: Path, rules: Rules, enlarged: float = 1.0) -> tuple[PlanBatch, np.ndarray]:
    """Plan of a file, whether it can be built under the rules or not, and its variables.

    Raises
    ------
    ConfigError
        The file is missing or damaged.
    """
    try:
        return plan_of_data(json_of(path), rules, enlarged)
    except FileNotFoundError:
        raise _refusal(path, "no such file; boxwright build makes it") from None
    except OSError as error:
        raise _refusal(path, f"cannot be read: {error.strerror}") from None
    except (ValueError, KeyError, TypeError, IndexError, RecursionError) as error:
        raise _refusal(path, f"damaged: {error!r}") from None


def read_plan_file(path: Path, rules: Rules, enlarged: float = 1.0) -> PlanBatch:
    """Plan of a file that can be built under the rules.

    Parameters
    ----------
    path : Path
        JSON file [path].
    rules : Rules
        Envelope, driver and its excursion, at the size that the plan is wanted in [record].
    enlarged : float
        That size over the file's [1].

    Returns
    -------
    PlanBatch
        The plan, a batch of one [record].

    Raises
    ------
    ConfigError
        The file is missing or damaged, or its plan cannot be built under the season's rules.
    """
    plan, _ = load_plan(path, rules, enlarged)
    if wrong := faults(plan):
        raise _refusal(path, "cannot be built: " + "; ".join(wrong))
    return plan


def _refusal(path: Path, message: str) -> ConfigError:
    return ConfigError([Fault(str(path), 1, "plan", message)])


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
