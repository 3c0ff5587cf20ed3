"""Physics stands alone: no file of ``models`` imports ``optimizer``."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield ("." * node.level) + (node.module or "")


MODULES = sorted((ROOT / "models").glob("**/*.py"))


def test_there_are_modules_to_look_at() -> None:
    assert {path.name for path in MODULES} >= {"air.py", "network.py", "score.py"}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_models_never_import_optimizer(path: Path) -> None:
    names = list(imported(path))
    assert not [name for name in names if name.split(".")[0] == "optimizer"]
    assert not [name for name in names if name.startswith(".")], (
        "import by full name, so that this test sees it"
    )


@pytest.mark.parametrize("folder", ["models", "optimizer"])
def test_files_stay_readable(folder: str) -> None:
    long = {
        path.name: lines
        for path in (ROOT / folder).glob("**/*.py")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 340
    }
    assert not long
