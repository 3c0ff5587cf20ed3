"""Plain words of the report: the summary, the cautions, and what the model leaves out."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from models.catalogue import short_label
from optimizer.exposure import exposure_sentence
from optimizer.reasons import LIMIT_WORDS
from optimizer.report_rules import ceiling_facts
from optimizer.run_folder import Run
from optimizer.sure_words import agreeing_words, plan_words

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

CAUTION_IN_SHORT = (
    "Before you build or drive one: these levels harm hearing within seconds, coils get hot enough to burn, "
    "amplifiers hang on the mains, and printing gives off fumes."
)
"""The cautions in one sentence, always in sight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One fact at the top of the page.

    Attributes
    ----------
    name : str
        What it is [text].
    value : str
        Short enough to be set large [text].
    words : str
        What to know about it [text].
    """

    name: str
    value: str
    words: str


def facts(run: Run) -> list[Fact]:
    """Best score, ceiling, what limits the best box, how sure the search is.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    list of Fact
        Empty where the search found nothing [list].
    """
    if not run.candidates:
        return []
    best = run.candidates[0]
    counts = _limit_counts(best)
    name, count = counts[0]
    total = sum(number for _, number in counts)
    return [
        Fact(
            name="Best score",
            value=f"{best['score_db']:.1f} dB",
            words=short_label(best["topology"], best["graph"]),
        ),
        _ceiling_fact(run),
        Fact(
            name="What limits it",
            value=name.replace("_", " "),
            words=f"stops {count} of {total} tones",
        ),
        _sure_fact(run),
    ]


def sure_sentences(run: Run) -> list[str]:
    """How sure the search is, in sentences with numbers."""
    return [str(sentence) for sentence in run.record.get("confidence", {}).get("sentences", [])]


def _ceiling_fact(run: Run) -> Fact:
    found = ceiling_facts(run)
    if not found:
        return Fact(name="Ceiling", value="not sought", words="see below for how to find it")
    score = float(run.candidates[0]["score_db"])
    if "bound" not in found:
        value = float(found["own"]["value_db"])
        return Fact(name="Ceiling", value=f"about {value:.1f} dB", words="evidence, not a bound")
    value = float(found["bound"]["value_db"])
    words = f"no box can pass it; {value - score:.1f} dB above the best"
    return Fact(name="Ceiling", value=f"{value:.1f} dB", words=words)


def _sure_fact(run: Run) -> Fact:
    sure = run.record.get("confidence", {})
    plan = plan_words(sure)
    value = "not settled" if not sure.get("settled") else "network settled" if plan else "settled"
    words = [agreeing_words(sure) if sure.get("restarts") else "", plan]
    return Fact(name="How sure", value=value, words="; ".join(word for word in words if word))


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
        plan = best.get("plan") or {}  # folders of earlier versions have none
        built = plan.get("cost_db") is not None
        gain = (plan["network_db"] if built else best["score_db"]) - closed[0]
        sentences.append(
            f"The best closed box found scores {closed[0]:.1f} dB, a difference of {gain:+.1f} dB"
            + (f" between free networks (this one {plan['network_db']:.1f} dB)." if built else ".")
        )
    sentences += sure_sentences(run)
    fitting = sum(1 for row in run.topologies if row["best_db"])
    sentences.append(
        f"{fitting} of {len(run.topologies)} topologies gave a design that fits. "
        "All numbers come from the model; none was measured on a built box."
    )
    return sentences


def _tones_and_spaces(run: Run) -> str:
    tones, spaces = len(run.record["source"]["tones"]), len(run.record["source"]["spaces"])
    return f"{tones} {'tone' if tones == 1 else 'tones'} in {spaces} {'space' if spaces == 1 else 'spaces'}"


def _limit_counts(candidate: dict[str, Any]) -> list[tuple[str, int]]:
    """Limits that stop the candidate's tones, the most frequent first."""
    return Counter(entry["limit"] for entry in candidate["limits"]).most_common()


def _limits_sentence(candidate: dict[str, Any]) -> str:
    counts = _limit_counts(candidate)
    total = sum(count for _, count in counts)
    phrases = [f"{LIMIT_WORDS[name]} ({count} of {total})" for name, count in counts]
    return f"What stops the drive at its tones: {', '.join(phrases)}."


def ceiling_sentences(run: Run) -> list[str]:
    """How much more there could be, or the command that finds it."""
    found = ceiling_facts(run)
    if not found:
        name = run.folder.resolve().name
        command = f"boxwright ceiling {name}/season.toml --run {name}"
        return [f"How much more there could be, this command finds beside the run folder: {command}."]
    sentences = []
    if "bound" in found:
        value = float(found["bound"]["value_db"])
        sentences.append(
            f"In this model no enclosure can score more than {value:.1f} dB with this driver and these rules."
        )
    if "own" in found:
        value = float(found["own"]["value_db"])
        sentences.append(
            f"With a box of its own for every tone the searches reached {value:.1f} dB, which one box for "
            "all tones will hardly pass."
        )
    return sentences


def not_modelled(run: Run) -> list[str]:
    """What the numbers of this run leave out, by its rules."""
    physics = run.record["source"].get("physics", {})
    points = [
        "Walls are rigid. Panels that flex, joints that buzz and leaks take level away.",
        "The driver is linear up to its excursion limit, and its coil is cold. Real ones compress.",
        "Duct ends lose more as air speed rises, by a quasi-steady law; turbulence is not computed.",
        "A box without a floor plan is checked for room by volumes, sides and mouths alone.",
        "Above the first cross mode of a chamber or of the cabin the levels are less sure.",
        "Restarts that agree are evidence that no better box of a topology was missed. They are not a proof.",
    ]
    if physics.get("chambers", "room") != "room":
        points.insert(0, f"This season sets chambers to {physics['chambers']}, a coarser model than room.")
    switched = [key for key in ("wall_losses", "duct_end_loss", "radiation") if physics.get(key) is False]
    if switched:
        points.insert(0, f"This season switches off: {', '.join(switched)}.")
    return points
