"""What ``boxwright search`` prints at its end: a short table, and two sentences to act on."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from models.catalogue import short_label
from optimizer.cli_output import text_table
from optimizer.run_folder import Run
from optimizer.sure_words import agreeing_words, plan_words

HARDER = {"quick": "--effort normal", "normal": "--effort thorough"}
"""What to search with next where an effort was too little; the largest asks for another seed."""


def search_text(run: Run, verbose: bool = False) -> str:
    """Table of the candidates, then what to do with the best and whether to search on.

    Parameters
    ----------
    run : Run
        The run folder's content [record].
    verbose : bool
        Whether to add how sure the search is and how much it did [flag].

    Returns
    -------
    str
        Several lines [text].
    """
    if not run.candidates:
        table = run.folder / "topologies.csv"
        return (
            f"No design that fits was found; {table} says why, topology by topology. "
            "Widen the envelope or the list of topologies, then search again."
        )
    cases = len(run.candidates[0]["limits"])
    head = ["", "topology", "score dB", "building costs dB", f"what binds, of {cases}", "role"]
    rows = [
        [
            str(candidate["rank"]),
            short_label(candidate["topology"], candidate["graph"]),
            f"{candidate['score_db']:.2f}",
            building_words(candidate["plan"]),
            what_binds(candidate["limits"]),
            str(candidate["role"]).partition("; ")[0],
        ]
        for candidate in run.candidates
    ]
    without = [
        f"Without a plan and left out: {one['topology']} ({one['graph']}): {'; '.join(one['reasons'])}."
        for one in run.record["without_plan"]
    ]
    lines = [text_table(head, rows, left={1, 4, 5}), "", _best_sentence(run), _next_sentence(run), *without]
    if verbose:
        lines += ["", *run.record["confidence"]["sentences"], _work_sentence(run)]
    return "\n".join(lines)


def building_words(plan: Mapping[str, Any]) -> str:
    """What building a candidate costs its score: ``+0.64``; ``no plan`` where that is not known."""
    return "no plan" if plan["cost_db"] is None else f"{round(plan['cost_db'], 2) + 0.0:+.2f}"


def what_binds(limits: Sequence[Mapping[str, Any]]) -> str:
    """How often each limit stops the drive, the most frequent first: ``power 5, excursion 3``."""
    counts = Counter(entry["limit"] for entry in limits).most_common()
    return ", ".join(f"{name.replace('_', ' ')} {count}" for name, count in counts)


def _best_sentence(run: Run) -> str:
    best = run.candidates[0]
    closed = [float(row["best_db"]) for row in run.topologies if row["graph"] == "oA" and row["best_db"]]
    built = best["plan"]["cost_db"] is not None
    against = ""
    if closed and best["graph"] != "oA":
        free = " as free networks" if built else ""
        against = f" ({best['plan']['network_db'] - closed[0]:+.1f} dB against the best closed box{free})"
    make = "make its parts" if built else "lay it out"
    return (
        f"The best is candidate {best['rank']}: {best['topology']} (graph {best['graph']}), "
        f"{best['score_db']:.2f} dB{against}; read why in {run.folder / 'report.html'}, and {make} with "
        f"`boxwright build {shlex.quote(str(run.folder))} --candidate {best['rank']}`."
    )


def _next_sentence(run: Run) -> str:
    """Whether to search on, and how."""
    record = run.record
    sure = record["confidence"]
    again = f"boxwright search {shlex.quote(record['config'])}"
    if record["interrupted"]:
        return (
            "The search was stopped early: go on with "
            f"`{again} --out {shlex.quote(str(run.folder))} --resume`, with the options it began with."
        )
    agree, plan = agreeing_words(sure), plan_words(sure)
    harder = HARDER.get(record["effort"], f"--seed {record['seed'] + 1}")
    if not sure["settled"]:
        near = "and types that came close were left"
        reason = f"{agree}, {near}" if sure.get("risky_cuts") else f"only {agree}"
        reason += f"; {plan}" if plan else ""
        return f"This is not sure yet ({reason}): search again with `{again} {harder}`."
    network = "a much louder free network" if plan else "much more"
    words = f"{agree}, and no type that was left came close: more search is unlikely to find {network}"
    further = []
    if record["effort"] == "quick" and record["source"]["search"]["topologies"] == "all":
        words += " among the types with a name"
        further.append("tries all others too")
    if plan:
        words += f". But {plan}, so a better plan may well exist"
        further.append("seeks plans again")
    return f"{words}; `{again} {harder}` {' and '.join(further)}." if further else f"{words}."


def _work_sentence(run: Run) -> str:
    counts, seconds = run.record["counts"], run.record["times"]["seconds"]
    return (
        f"{counts['evaluations']} designs of {counts['cells']} "
        f"{'graph' if counts['cells'] == 1 else 'graphs'} were evaluated in "
        f"{sum(seconds.values()):.0f} s."
    )
