"""The open body seen from above a corner, in parallel projection, for the dimension sheet."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from models.solids import triangles_of

PIECE_MM = 9.0
"""Longest edge of the triangles that are drawn, so that nearer ones hide farther ones rightly [mm]."""

EYE = np.array([-0.55, -0.75, 1.05])
LIGHT = np.array([-0.35, -0.8, 1.5])


def draw_body(axes: Axes, body: Any, corner: tuple[float, float], room: tuple[float, float]) -> None:
    """Draw a solid into a rectangle of the sheet.

    Parameters
    ----------
    axes : Axes
        The sheet [record].
    body : Manifold
        Solid [mm].
    corner : tuple of two floats
        Lower left corner of the rectangle [mm].
    room : tuple of two floats
        Its sides [mm].
    """
    if min(room) < 30.0:
        return
    vertices, triangles = triangles_of(body.refine_to_length(PIECE_MM))
    eye = EYE / np.linalg.norm(EYE)
    right = np.cross([0.0, 0.0, 1.0], eye)
    right = right / np.linalg.norm(right)
    up = np.cross(eye, right)
    flat = np.stack([vertices @ right, vertices @ up], axis=1)
    scale = float(min(np.array(room) / np.ptp(flat, axis=0)))
    offset = np.array(corner) + 0.5 * (np.array(room) - scale * np.ptp(flat, axis=0))
    flat = scale * (flat - flat.min(axis=0)) + offset
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    facing = normal @ eye > 1e-6
    triangles, normal = triangles[facing], normal[facing]
    depth = (vertices[triangles] @ eye).mean(axis=1)
    order = np.argsort(depth)
    shade = 0.42 + 0.55 * np.clip(normal @ (LIGHT / np.linalg.norm(LIGHT)), 0.0, 1.0)
    colour = shade[:, None] * np.array([0.86, 0.91, 0.96])
    colour = colour[order]
    axes.add_collection(
        PolyCollection(list(flat[triangles[order]]), facecolors=colour, edgecolors=colour, linewidths=0.2,
                       rasterized=True, zorder=2)
    )  # fmt: skip
    axes.text(
        corner[0] + 0.5 * room[0],
        corner[1] - 2.0,
        "BODY, lid off (not to scale)",
        fontsize=7.5,
        ha="center",
        va="top",
    )
