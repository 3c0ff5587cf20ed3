"""How fast a batch is evaluated, against the same evaluation by dense linear algebra.

Run: ``python -m studies.evaluation_speed.study [--reduced]``.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from models.backend import has_compiler
from models.catalogue import TRADE_NAMES, named_topology
from models.design import DesignBatch
from models.fit import violation
from models.score import Judge
from optimizer.season import load_season
from optimizer.sites import search_sites
from optimizer.space import SearchSpace
from studies.dense_reference import dense_levels
from studies.evaluation_speed.growth import designs_a_second, growth, peak_memory
from studies.evaluation_speed.spice import seconds_a_design

CONFIG = Path(__file__).resolve().parents[2] / "configs" / "demo.toml"

THREE_CHAMBERS = "AB/AC.BC.Co"
"""Graph of three chambers that is measured beside the named ones."""

STEPS = 5.0
"""States that an average tone of the demo's vented boxes passes until its losses have settled."""


def fitting_batch(judge: Judge, name: str, count: int, seed: int = 1) -> DesignBatch:
    """Random designs of a topology that fit the season's envelope."""
    space = SearchSpace(named_topology(name), judge.rules, search_sites(judge.rules))
    rng = np.random.default_rng(seed)
    drawn = 8 * count
    site = rng.integers(0, len(space.sites), (drawn, len(space.site_slots)))
    batch = space.decode(*space.repair(rng.random((drawn, space.dimensions)), site))
    return batch.rows(np.nonzero(violation(batch, judge.rules) <= 0.0)[0][:count])


def least_seconds(work: Callable[[], object], repeats: int) -> float:
    """Least processor time of a piece of work, after one run that does not count [s]."""
    work()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One topology: designs, their rate by each way, and the largest difference to dense algebra."""

    name: str
    size: int
    compiled: float | None
    numpy: float
    dense: float
    difference_db: float


def compare(count: int, repeats: int) -> list[Row]:
    """Every named topology with one driver and no diaphragm, and one of three chambers."""
    rules = load_season(CONFIG).rules
    plain = Judge(rules, backend="numpy")
    judges = {"numpy": plain}
    if has_compiler():
        judges["compiled"] = plain.with_backend("compiled")
    rows = []
    for name in (*TRADE_NAMES.values(), THREE_CHAMBERS):
        if named_topology(name).diaphragms or len(named_topology(name).drivers) > 1:
            continue
        batch = fitting_batch(plain, name, count)
        expected = dense_levels(plain, batch)
        worst, rates = 0.0, {}
        for backend, judge in judges.items():
            found = judge.respond(batch).level_db.reshape(batch.size, -1)
            worst = max(worst, float(np.max(np.abs(found - expected))))
            rates[backend] = batch.size / least_seconds(partial(judge.respond, batch), repeats)
        dense = batch.size / least_seconds(partial(dense_levels, plain, batch), max(1, repeats // 2))
        rows.append(
            Row(
                name=name,
                size=batch.size,
                compiled=rates.get("compiled"),
                numpy=rates["numpy"],
                dense=dense,
                difference_db=worst,
            )
        )
    return rows


def account(count: int, repeats: int) -> dict[str, float]:
    """Microseconds a vented box takes by stage, and the counted floor of the whole."""
    from studies.evaluation_speed.floor import cost, near_field_count, network_count, prices
    from studies.evaluation_speed.stages import stage_times

    judge = Judge(load_season(CONFIG).rules, backend="compiled")
    times = stage_times(judge, fitting_batch(judge, "vented box", count), repeats)
    price = prices(20 * repeats)
    near = cost(near_field_count(), price)
    rest = cost(network_count(judge.tones_hz.size, len(judge.rules.spaces), STEPS), price)
    prices_named = {f"one {name} [ns]": value for name, value in price.items()}
    return times | {"floor of the near field": near, "floor of the rest": rest} | prices_named


def main() -> None:
    """Print the comparison, the account of the compiled code, growth and scaling."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="fewer designs and repeats")
    reduced = parser.parse_args().reduced
    count, repeats = (64, 1) if reduced else (2000, 6)
    print(f"{'topology':32s} designs compiled/s  numpy/s  dense/s  ratio  largest difference")
    for row in compare(count, repeats):
        fast = row.compiled or row.numpy
        print(
            f"{row.name:32s} {row.size:7d} {row.compiled or 0.0:10.0f} {row.numpy:8.0f} {row.dense:8.0f} "
            f"{fast / row.dense:6.1f} {row.difference_db:10.1e} dB"
        )
    rules = load_season(CONFIG).rules
    spice = seconds_a_design(rules, 3 if reduced else 15)
    print("one run of ngspice:", "not installed" if spice is None else f"{1e3 * spice:.1f} ms")
    print(f"peak memory of a batch of {count}: {peak_memory(rules, count):.1f} MB")
    for what, value in growth(rules, count, repeats):
        print(f"{what:16s} {value:8.2f} us a design")
    if not has_compiler():
        print("the compiled back end needs numba")
        return
    for what, value in account(min(count, 512), repeats).items():
        print(f"{what:28s} {value:8.3f}")
    for way, name in ((0, "the clock"), (1, "processor time")):
        rates = [designs_a_second(rules, n, count, 0.5 if reduced else 4.0)[way] for n in (1, 2, 1, 2)]
        print(
            f"by {name}: one process {rates[0]:.0f} and {rates[2]:.0f} designs/s, two {rates[1]:.0f} and "
            f"{rates[3]:.0f}, {(rates[1] + rates[3]) / (rates[0] + rates[2]):.2f} times"
        )


if __name__ == "__main__":
    main()
