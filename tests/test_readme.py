"""The README says what is there: its commands, options and files."""

import re
import subprocess
import tomllib
from pathlib import Path

import click
import pytest

from optimizer.cli import cli

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
SET_UP = "python3 -m venv .venv && .venv/bin/pip install"


def shell_lines() -> list[str]:
    return [
        line for block in re.findall(r"```sh\n(.*?)```", README, re.S) for line in block.strip().splitlines()
    ]


def test_two_commands_that_set_themselves_up() -> None:
    first, second = shell_lines()
    assert first.startswith(SET_UP) and " && .venv/bin/boxwright search configs/demo.toml" in first
    assert second.startswith(SET_UP) and ".venv/bin/python -m pytest -q" in second


def test_search_line_names_a_season_that_exists() -> None:
    from optimizer.season import load_season

    arguments = shell_lines()[0].partition("/boxwright search ")[2].split()
    assert load_season(ROOT / arguments[0]).name


def test_ci_runs_the_second_line() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    pattern = re.search(r"sed -n '(.*)' README.md", script)
    assert pattern
    found = subprocess.run(
        ["sed", "-n", pattern[1], str(ROOT / "README.md")], capture_output=True, text=True, check=True
    )
    assert found.stdout.splitlines() == [shell_lines()[1]]


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"`((?:configs|models|optimizer|tests)/[\w./-]+)`", README)))
)
def test_named_files_exist(path: str) -> None:
    assert (ROOT / path).exists()


def test_linked_files_exist() -> None:
    links = re.findall(r"\]\(([^)#]+)\)", README)
    assert links and all((ROOT / link).is_file() for link in links)


def test_developers_names_files_that_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    paths = set(re.findall(r"`((?:configs|models|optimizer|tests|studies)/[\w.-]+)`", text))
    assert len(paths) > 10 and not [path for path in paths if not (ROOT / path).exists()]


def test_commands_are_those_of_the_program() -> None:
    table = re.findall(r"^\| `boxwright (\w+) .*$", README, re.M)
    assert sorted(table) == sorted(cli.commands)


def test_options_exist() -> None:
    for row in re.findall(r"^\| `boxwright \w+ .*$", README, re.M):
        name = row.split()[2]
        options = {o for p in cli.commands[name].params if isinstance(p, click.Option) for o in p.opts}
        assert set(re.findall(r"`(--[\w-]+)", row)) <= options


def test_package_data() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["scripts"] == {"boxwright": "optimizer.cli:main"}
    assert "MIT" in (ROOT / "LICENSE").read_text(encoding="utf-8") and project["license"] == {"text": "MIT"}
