"""Every entry under Parameters, Attributes, Returns or Yields of a public docstring ends in its unit."""

import ast
import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MODULES = sorted([*(ROOT / "models").glob("**/*.py"), *(ROOT / "optimizer").glob("**/*.py")])
SECTIONS = ("Parameters", "Attributes", "Returns", "Yields")
UNIT = re.compile(r"\[[^\[\]]+\]\.?$")


def entries(docstring: str) -> Iterator[tuple[str, str]]:
    """Heading line and text of every entry in the sections that carry units."""
    lines = inspect.cleandoc(docstring).splitlines()
    section, name, text = "", "", []
    for i, line in enumerate([*lines, "", "End", "---"]):
        following = ([*lines, "", "End", "---"])[i + 1] if i + 1 < len(lines) + 3 else ""
        heading = bool(line) and set(following) == {"-"}
        indented = line.startswith("    ")
        if (heading or (line and not indented)) and name:
            yield name, " ".join(text)
            name, text = "", []
        if heading:
            section = line.strip()
        elif line and set(line) == {"-"}:
            continue
        elif section in SECTIONS and line and not indented:
            name, text = line, []
        elif section in SECTIONS and indented:
            text.append(line.strip())


def public_docstrings(path: Path) -> Iterator[tuple[str, str]]:
    def walk(node: ast.AST, prefix: str) -> Iterator[tuple[str, str]]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef | ast.ClassDef) and not child.name.startswith("_"):
                docstring = ast.get_docstring(child, clean=False)
                if docstring:
                    yield prefix + child.name, docstring
                if isinstance(child, ast.ClassDef):
                    yield from walk(child, f"{prefix}{child.name}.")

    yield from walk(ast.parse(path.read_text(encoding="utf-8")), "")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}.{path.stem}")
def test_entries_end_in_a_unit(path: Path) -> None:
    without = [
        f"{name}: {entry}"
        for name, docstring in public_docstrings(path)
        for entry, text in entries(docstring)
        if not UNIT.search(text)
    ]
    assert not without


def test_the_reader_finds_entries() -> None:
    found = list(
        entries(
            """Sum.

            Parameters
            ----------
            a, b : float
                Two numbers,
                both finite [m].
            c : int
                Without a unit.

            Returns
            -------
            float
                Their sum [m].

            Raises
            ------
            ValueError
                Never.
            """
        )
    )
    assert found == [
        ("a, b : float", "Two numbers, both finite [m]."),
        ("c : int", "Without a unit."),
        ("float", "Their sum [m]."),
    ]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}.{path.stem}")
def test_public_names_have_docstrings(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    bare = [
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
    ]
    assert not bare
