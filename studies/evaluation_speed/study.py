"""How fast a batch is evaluated, against the same evaluation by dense linear algebra.

Run: ``python -m studies.evaluation_speed.study [--reduced]``.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from models.catalogue import TRADE_NAMES, named_topology
from models.design import DesignBatch
from models.fit import violation
from models.score import Judge
from optimizer.season import load_season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace
from studies.dense_reference import dense_levels

CONFIG = Path(__file__).resolve().parents[2] / "configs" / "demo.toml"


def fitting_batch(judge: Judge, name: str, count: int, seed: int = 1) -> DesignBatch:
    """Random designs of a topology that fit the season's envelope."""
    space = SearchSpace(named_topology(name), judge.rules, search_sites(judge.rules))
    rng = np.random.default_rng(seed)
    drawn = 8 * count
    site = rng.integers(0, len(space.sites), (drawn, len(space.site_slots)))
    batch = space.decode(*space.repair(rng.random((drawn, space.dimensions)), site))
    return batch.rows(np.nonzero(violation(batch, judge.rules) <= 0.0)[0][:count])


def median_seconds(work: Callable[[], object], repeats: int) -> float:
    """Median wall time of a piece of work, after one run that does not count [s]."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def compare(count: int, repeats: int) -> list[tuple[str, int, float, float, float]]:
    """Name, designs, designs per second, ratio to the dense version, largest difference in dB."""
    judge = Judge(load_season(CONFIG).rules)
    rows = []
    for name in TRADE_NAMES.values():
        if named_topology(name).diaphragms or len(named_topology(name).drivers) > 1:
            continue
        batch = fitting_batch(judge, name, count)
        fast = judge.respond(batch).level_db.reshape(batch.size, -1)
        worst = float(np.max(np.abs(fast - dense_levels(judge, batch))))
        ours = median_seconds(lambda batch=batch: judge.respond(batch), repeats)  # type: ignore[misc]
        dense = median_seconds(lambda batch=batch: dense_levels(judge, batch), repeats)  # type: ignore[misc]
        rows.append((name, batch.size, batch.size / ours, dense / ours, worst))
    return rows


def main() -> None:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="fewer designs and repeats")
    reduced = parser.parse_args().reduced
    print(f"{'topology':34s} designs  designs/s  times dense  largest difference")
    for name, size, rate, ratio, worst in compare(*((64, 1) if reduced else (2000, 5))):
        print(f"{name:34s} {size:7d} {rate:10.0f} {ratio:12.2f} {worst:16.1e} dB")


if __name__ == "__main__":
    main()
