"""Plain words of the report: the summary, the cautions, and what the model leaves out."""

from __future__ import annotations

from typing import Any

from optimizer.exposure import exposure_sentence
from optimizer.reasons import LIMIT_WORDS
from optimizer.run_folder import Run

CAUTIONS = (
    "Hearing: these levels pass safe exposure within seconds. NIOSH 98-126 allows 85 dB(A) for eight "
    "hours and halves the time for every 3 dB more; Directive 2003/10/EC sets a limit of 87 dB(A) over a "
    "day and 200 Pa (140 dB(C)) at peak. At low frequency the A-weighted reading hides the level. Measure "
    "from outside the cabin, with nobody in it.",
    "Heat: voice coils driven at the limit get hot enough to burn and to fail. Keep tones short, and let "
    "the driver cool between them.",
    "Mains: leave amplifier wiring to someone who is qualified for it, and unplug before you touch a "
    "terminal.",
    "Fumes: printing, gluing and overheated coils give off fumes. Ventilate.",
    "Local codes and licensed practice come first, wherever they ask for more than this page does.",
)
"""Cautions that stand above every result."""


def cautions(run: Run) -> list[str]:
    """The cautions, and the exposure that the first-ranked box would be [text]."""
    best = run.candidates[0]["evaluation"]["spaces"] if run.candidates else []
    exposure = exposure_sentence(best, float(run.record["scale"]))
    return [*CAUTIONS, *([f"Exposure to the first-ranked box: {exposure}"] if exposure else [])]


def summary_sentences(run: Run) -> list[str]:
    """Result of a run in a few plain sentences.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    list of str
        Sentences [text].
    """
    if not run.candidates:
        return ["The search found no design that fits the envelope."]
    best = run.candidates[0]
    sentences = [
        f"The first-ranked box is: {best['topology']}. It scores {best['score_db']:.1f} dB, averaged over "
        f"{_tones_and_spaces(run)} at the largest drive that the rules permit.",
        _limits_sentence(best),
    ]
    closed = [float(row["best_db"]) for row in run.topologies if row["graph"] == "oA" and row["best_db"]]
    if closed and best["graph"] != "oA":
        gain = best["score_db"] - closed[0]
        sentences.append(
            f"The best closed box found scores {closed[0]:.1f} dB, a difference of {gain:+.1f} dB."
        )
    sentences += run.record.get("confidence", {}).get("sentences", [])
    fitting = sum(1 for row in run.topologies if row["best_db"])
    sentences.append(
        f"{fitting} of {len(run.topologies)} topologies gave a design that fits. "
        "All numbers come from the model; none was measured on a built box."
    )
    return sentences


def _tones_and_spaces(run: Run) -> str:
    tones, spaces = len(run.record["source"]["tones"]), len(run.record["source"]["spaces"])
    return f"{tones} {'tone' if tones == 1 else 'tones'} in {spaces} {'space' if spaces == 1 else 'spaces'}"


def _limits_sentence(candidate: dict[str, Any]) -> str:
    counts: dict[str, int] = {}
    for entry in candidate["limits"]:
        counts[entry["limit"]] = counts.get(entry["limit"], 0) + 1
    ordered = sorted(counts.items(), key=lambda item: -item[1])
    phrases = [f"{LIMIT_WORDS[name]} ({count} of {sum(counts.values())})" for name, count in ordered]
    return f"What stops the drive at its tones: {', '.join(phrases)}."


def not_modelled(run: Run) -> list[str]:
    """What the numbers of this run leave out, by its rules."""
    physics = run.record["source"].get("physics", {})
    points = [
        "Walls are rigid. Panels that flex, joints that buzz and leaks take level away.",
        "The driver is linear up to its excursion limit, and its coil is cold. Real ones compress.",
        "Duct ends lose more as air speed rises, by a quasi-steady law; turbulence is not computed.",
        "A box is checked for room by volumes, sides and mouths. Its parts are not laid out.",
        "Above the first cross mode of a chamber or of the cabin the levels are less sure.",
        "Restarts that agree are evidence that no better box of a topology was missed. They are not a proof.",
    ]
    if physics.get("chambers", "room") != "room":
        points.insert(0, f"This season sets chambers to {physics['chambers']}, a coarser model than room.")
    switched = [key for key in ("wall_losses", "duct_end_loss", "radiation") if physics.get(key) is False]
    if switched:
        points.insert(0, f"This season switches off: {', '.join(switched)}.")
    return points
