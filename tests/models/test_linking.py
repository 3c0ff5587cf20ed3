"""Compiled functions in one module, and elements of arrays without negative indices, against Python."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

numba = pytest.importorskip("numba")

from numba.core.runtime import _nrt_python as nrt  # noqa: E402

from models.jit import compiled, entry_point  # noqa: E402  # which need numba


class _Pair(NamedTuple):
    wide: np.ndarray
    far: np.ndarray


@compiled
def _scratch(pair: _Pair, n: int) -> float:
    row = np.empty((2, n))
    for m in range(n):
        row[0, m], row[1, m] = pair.wide[1, m], pair.far[m].real
    return float(row[0, n - 1] + row[1, 0])


def _elements(pair: _Pair, flags: np.ndarray, whole: np.ndarray, strided: np.ndarray) -> float:
    total, first = 0.0, pair.wide[0]
    for i in range(strided.shape[0]):
        pair.far[i] += strided[i, 1] * 1j
        flags[i] = whole[i] > 2
        first[i] *= 2
        total += _scratch(pair, i + 1) + whole[flags.size - 1]
    pair.wide[1, 2], whole[0] = whole[1], 7
    return total


def _inputs() -> tuple[_Pair, np.ndarray, np.ndarray, np.ndarray]:
    pair = _Pair(np.arange(8.0).reshape(2, 4), np.arange(4) * (1.0 + 2.0j))
    return pair, np.zeros(4, dtype=bool), np.arange(1, 5), np.arange(24.0).reshape(4, 6)[:, ::2]


@pytest.fixture(scope="module")
def fast() -> object:
    """The function, compiled; its code is not kept."""
    patch = pytest.MonkeyPatch()
    patch.setattr(numba, "njit", lambda make=numba.njit, **own: make(**own | {"cache": False}))
    try:
        return entry_point(_elements)
    finally:
        patch.undo()


def test_elements_of_every_kind_as_in_python(fast: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """Real, complex, whole, logical and strided arrays, records, slices, constant indices: same bits."""
    one, other = _inputs(), _inputs()
    found = fast(*one)  # type: ignore[operator]
    monkeypatch.setitem(globals(), "_scratch", _scratch.py_func)
    assert found == _elements(*other)
    for a, b in zip([*one[0], *one[1:]], [*other[0], *other[1:]], strict=True):
        np.testing.assert_array_equal(a, b)


def test_arrays_are_let_go(fast: object) -> None:
    """Everything that compiled code makes or borrows is given back."""
    given = _inputs()
    fast(*given)  # type: ignore[operator]
    arrays = [*given[0], *given[1:]]
    counts = [sys.getrefcount(array) for array in arrays]
    nrt.memsys_enable_stats()
    before = numba.core.runtime.rtsys.get_allocation_stats()
    for _ in range(5):
        fast(*given)  # type: ignore[operator]
    after = numba.core.runtime.rtsys.get_allocation_stats()
    nrt.memsys_disable_stats()
    assert after.alloc - before.alloc == after.free - before.free
    assert after.mi_alloc - before.mi_alloc == after.mi_free - before.mi_free
    assert after.mi_alloc > before.mi_alloc
    assert [sys.getrefcount(array) for array in arrays] == counts


def test_inner_functions_have_no_machine_code_of_their_own(fast: object, tmp_path: Path) -> None:
    """They are part of the function that Python calls, in which no other may call them."""
    fast(*_inputs())  # type: ignore[operator]
    (inner,) = _scratch.overloads.values()
    name = inner.fndesc.llvm_func_name
    assert inner.library.get_pointer_to_function(name) == 0
    (outer,) = fast.overloads.values()  # type: ignore[attr-defined]
    exported = [f.name for f in outer.library._final_module.functions if str(f.linkage) == "Linkage.external"]
    assert name not in exported


OTHER_VERSION = """
import sys
import numba, numpy
numba.version_info = numba.version_info._replace(major=9)
from models.jit import compiled, entry_point
inner = compiled(lambda x: 2.0 * x)
print(entry_point(lambda x: inner(x[1, 0]) + inner(1.0))(numpy.ones((2, 1))))
print("models.linking" in sys.modules)
"""


def test_another_version_of_numba_compiles_in_its_own_way(tmp_path: Path) -> None:
    """Its inside may differ from what the compilers here are derived from."""
    script = tmp_path / "script.py"
    script.write_text(OTHER_VERSION, encoding="utf-8")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["4.0", "False"]
