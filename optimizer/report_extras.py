"""What not every candidate has: its plan's drawing, its tolerance, its hot coil."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from optimizer.report_parts import figure


def sketch(folder: Path, candidate: dict[str, Any], place: str) -> str:
    """Drawing of the candidate's plan where there is one, of its graph otherwise."""
    rank = int(candidate["rank"])
    if candidate.get("plan") and (folder / place / "plan.png").is_file():
        return figure(folder / place / "plan", f"Candidate {rank}: its plan, seen from above.")
    return figure(folder / place / "graph", f"Candidate {rank}: its chambers and what joins them.")


def tolerance_words(candidate: dict[str, Any]) -> list[str]:
    """How the candidate stands deviations of building, where that was computed."""
    found = candidate.get("tolerance")
    if not found:
        return []
    words = [
        f"Built with deviations, half of such boxes score {found['p50_db']:.2f} dB or more; "
        f"one in ten stays below {found['p10_db']:.2f} dB, one in ten exceeds {found['p90_db']:.2f} dB."
    ]
    words.append(f"It keeps its rank in {found['keeps_rank']:.0%} of the draws.")
    if matters := [f"{one['name']} ({one['share']:.0%})" for one in found["matters"]]:
        words.append(f"What matters most: {', '.join(matters)}.")
    return words


def hot_words(candidate: dict[str, Any]) -> list[str]:
    """What a hot coil takes from the candidate's tones, where that was computed."""
    drops = [
        tone["level_db"] - tone["hot_level_db"]
        for space in candidate["evaluation"]["spaces"]
        for tone in space["tones"]
        if tone.get("hot_level_db") is not None and tone["level_db"] is not None
    ]
    if not drops:
        return []
    return [f"With the coil hot, its tones lose {min(drops):.1f} to {max(drops):.1f} dB."]
