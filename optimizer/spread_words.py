"""The spread of candidates as tables and sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

HEAD = ("as designed", "10 % below", "median", "10 % above", "keeps place", "matters most")


def spread_cells(score_db: float, tolerance: dict[str, Any]) -> list[str]:
    """Cells of one box under :data:`HEAD`."""
    levels = [score_db, *(tolerance[key] for key in ("p10_db", "p50_db", "p90_db"))]
    matters = ", ".join(f"{m['name']} {100 * m['share']:.0f} %" for m in tolerance["matters"])
    return [*(f"{level:.2f}" for level in levels), f"{100 * tolerance['keeps_rank']:.0f} %", matters]


def spread_sentences(
    names: Sequence[str], tolerances: Sequence[dict[str, Any]], among: str = ""
) -> list[str]:
    """What the spread means for the first box, in plain sentences.

    Parameters
    ----------
    names : sequence of str
        Names of the boxes that compete, the best by design first [text].
    tolerances : sequence of dict
        Records of :class:`optimizer.spread.Spread`, at least one [mixed].
    among : str
        What the boxes are where there are others beside [text].

    Returns
    -------
    list of str
        Sentences [text].
    """
    first = tolerances[0]
    width = first["p90_db"] - first["p10_db"]
    sentences = [
        f"Eight of ten boxes built as {names[0]} score within {width:.2f} dB of each other, "
        f"{first['p10_db']:.2f} to {first['p90_db']:.2f} dB."
    ]
    if len(names) > 1:
        often = max(range(len(names)), key=lambda i: tolerances[i]["best_share"])
        share = 100.0 * tolerances[often]["best_share"]
        if often == 0:
            sentences.append(f"It stays the best of the {len(names)}{among} in {share:.0f} % of the draws.")
        else:
            own = 100.0 * first["best_share"]
            sentences.append(
                f"It stays the best of the {len(names)}{among} in {own:.0f} % of the draws only; "
                f"{names[often]} is the best in {share:.0f} %."
            )
    if first["matters"]:
        causes = " and ".join(f"{m['name']} ({100 * m['share']:.0f} %)" for m in first["matters"])
        sentences.append(f"Most of its spread goes with {causes}.")
    return sentences


AMONG = " with a plan"
"""What the first boxes of a run folder are, where free networks follow."""

APART = "Places are those among boxes with a plan, and apart from them among free networks."
"""What is said of places where there are both."""

NOTE = (
    "Every draw has another driver, temperature, leakage and print, and the drive is set anew to the "
    "largest that the rules permit. A cause's percentage is the share of the score's variance that goes "
    "with it, alone and together with others (total Sobol index)."
)
"""What the numbers are."""
