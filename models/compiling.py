"""Compilation of the functions of :mod:`models.packing` and :mod:`models.linearised`, one by one.

Each can be compiled in a process of its own, which leaves the code on disk.
"""

from __future__ import annotations

import functools
import gc
from typing import Any

import llvmlite.binding as llvm
import numba
import numpy as np

from models import packing, structure
from models.design import DesignBatch
from models.linear_layout import make_layout, make_medium
from models.linear_terms import make_terms
from models.linearised import compiled_steps
from models.outside import OutsideTable
from models.rules import Rules

UNITS = 5
"""Number of compiled functions that Python calls."""


def example(batch: DesignBatch, moved: DesignBatch, rules: Rules) -> tuple[Any, ...]:
    """What the compiled functions work on, of the types that every batch of every season has.

    Parameters
    ----------
    batch : DesignBatch
        A few designs, which need not fit [record].
    moved : DesignBatch
        One of them, of :func:`models.complex_step.stepped` variables [record].
    rules : Rules
        The season's rules; its spaces are not looked at [record].

    Returns
    -------
    tuple
        Records of :mod:`models.kernel_records`, a table of the outside that holds zeros, and what
        :mod:`models.linearised` works on [record].
    """
    omega = 2.0 * np.pi * rules.tones_hz
    graph = structure.make_graph(batch, rules)
    tones = packing.make_tones(rules, omega, len(batch.driver_ends))
    sizes = packing.make_sizes(batch, rules, omega, graph, None)
    few = np.zeros((1, 1))
    table = OutsideTable(
        impedance=np.zeros((1, 1, 1), dtype=complex), transfer=few.astype(complex), self_inertance=few
    )
    layout = make_layout(moved, rules)
    medium = make_medium(rules, omega, layout)
    columns = omega.size * medium.spaces
    wide = OutsideTable(
        impedance=np.zeros((1, 1, columns), dtype=complex),
        transfer=np.zeros((1, columns), dtype=complex),
        self_inertance=np.zeros((1, columns)),
    )
    return graph, tones, sizes, table, layout, medium, make_terms(moved, 1, rules, layout, medium, wide, {})


@functools.cache
def _set_option() -> None:
    """Tell the compiler once to leave loops of unknown length at one copy, beside that made of vectors."""
    llvm.set_option("", "-unroll-runtime=false")


def compile_unit(number: int, records: tuple[Any, ...]) -> None:
    """Compile one function for the types of an example, or load it where that has been done.

    Parameters
    ----------
    number : int
        Which one, from 0 to less than :data:`UNITS` [1].
    records : tuple
        From :func:`example` [record].
    """
    graph, tones, sizes, table, layout, medium, terms = records
    room = packing.make_room(graph, tones, sizes)
    steps = packing.steps(graph, tones, sizes, table, room, 0, sizes.designs)
    voltage = np.ones((1, medium.omega.size * medium.spaces))
    function, arguments = [*steps, *compiled_steps(layout, medium, terms, voltage)][number]
    type_of: Any = numba.typeof
    _set_option()
    collects = gc.isenabled()
    gc.disable()  # the compiler's objects live to its end; looking for dead ones took 8 % of the time
    try:
        function.compile(tuple(type_of(argument) for argument in arguments))
    finally:
        if collects:
            gc.enable()
