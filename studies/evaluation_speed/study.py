"""How fast a batch is evaluated, against dense linear algebra, ngspice and the counted floor.

Run: ``python -m studies.evaluation_speed.study [--reduced]``; further arguments go to pytest-benchmark, such
as ``--benchmark-json=FILE``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

import optimizer  # noqa: F401  # one thread of linear algebra, before numpy is loaded


def main(arguments: list[str]) -> int:
    """Run the benchmarks and print their table."""
    suite = str(Path(__file__).with_name("bench.py"))
    options = ["-q", "-p", "no:cacheprovider", "--benchmark-columns=min,rounds"]
    return int(pytest.main([suite, *options, *arguments]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
