"""Compilation of a function with all that it calls as one module, by subclasses of numba's own.

Numba optimises and translates every function for itself before it does so again inside each function that
calls it. Here a function that only compiled code calls stays as it comes from type inference until the
function that Python calls is compiled: that one takes in all of them, is optimised and translated once.
"""

from __future__ import annotations

from typing import Any

import llvmlite.binding as llvm
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler
from numba.core.registry import cpu_target
from numba.core.typed_passes import NativeLowering, NopythonRewrites
from numba.core.untyped_passes import InlineClosureLikes

from models.lowering import PlainLowering
from models.signatures import Typing


class _Silent:
    """A code generator for functions without machine code, which have no environment to set."""

    def set_env(self, name: str, env: Any) -> None:
        """Set nothing."""


class _Inner(JITCodeLibrary):
    """Code of a function that only compiled code calls, with that of the functions it calls."""

    def finalize(self) -> None:
        """Take in what the function calls, and no more."""
        self._raise_if_finalized()
        for library in dict.fromkeys(self._linking_libraries):
            self._reload_init.update(library._reload_init)
            self._final_module.link_in(library._get_module_for_linking(), preserve=True)
        self._finalize_dynamic_globals()
        self._finalized = True

    def get_pointer_to_function(self, name: str) -> int:
        """No address: there is no machine code."""
        self._ensure_finalized()
        return 0

    @property
    def codegen(self) -> Any:
        """Who would set an environment."""
        return _Silent()


class _Outer(JITCodeLibrary):
    """Code of a function that Python calls."""

    def _optimize_final_module(self) -> None:
        for function in self._final_module.functions:
            if not function.is_declaration and function.linkage == llvm.Linkage.linkonce_odr:
                function.linkage = llvm.Linkage.internal
        super()._optimize_final_module()


def _whole_line(dtype: Any) -> int:
    """Where arrays begin: a vector that lies in two lines of the cache is read twice."""
    return 64


cpu_target.target_context.get_preferred_array_alignment = _whole_line

_IDLE = (InlineClosureLikes, NopythonRewrites)
"""Passes that would look for closures and whole-array expressions, of which there are none."""


def _plain(pipelines: list[Any]) -> list[Any]:
    """Pipelines without idle passes, and with elements as :mod:`models.lowering` has them."""
    for pipeline in pipelines:
        passes = [one for one in pipeline.passes if one[0] not in _IDLE]
        pipeline.passes = [(PlainLowering, *one[1:]) if one[0] is NativeLowering else one for one in passes]
        pipeline._finalized = False
        pipeline.finalize()
    return pipelines


class InnerCompiler(Compiler):
    """Compiles functions that only compiled code calls."""

    def __init__(self, typingctx: Any, targetctx: Any, library: Any, *others: Any) -> None:
        library = library or _Inner(targetctx.codegen(), "inner")
        super().__init__(Typing(typingctx), targetctx, library, *others)

    def define_pipelines(self) -> list[Any]:
        """Passes in turn."""
        return _plain(super().define_pipelines())


class OuterCompiler(Compiler):
    """Compiles functions that Python calls."""

    def __init__(self, typingctx: Any, targetctx: Any, library: Any, *others: Any) -> None:
        library = library or _Outer(targetctx.codegen(), "outer")
        library.enable_object_caching()
        super().__init__(Typing(typingctx), targetctx, library, *others)

    def define_pipelines(self) -> list[Any]:
        """Passes in turn."""
        return _plain(super().define_pipelines())
