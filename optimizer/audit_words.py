"""The audit of a season as compact tables and sentences that an organiser can act on."""

from __future__ import annotations

from typing import Any

from models.catalogue import named_topology, short_name
from optimizer.cli_output import text_table
from optimizer.price_words import listed, written
from optimizer.priced_rules import PRICED_RULES
from optimizer.reasons import LIMIT_WORDS

NOTABLE_DB = 0.02
"""Changes of the best score that are listed, at least."""

LEVEL_DB = 0.1
"""Leads below this are as good as none."""

MOST_FLIPS = 4
"""Changes that make another type win, those with the largest leads, that the first sentence tells."""

_WORDS = {rule.key: rule.words for rule in PRICED_RULES}

_WHY = {
    "peak": "5 % beside it the winner is at least 3 dB quieter",
    "apart": "the winner's lead over the next type is at least 3 dB larger there than on average",
    "loud": "the winner is at least 6 dB louder there than at its other tones",
}


def audit_text(found: dict[str, Any]) -> str:
    """Readable audit.

    Parameters
    ----------
    found : dict
        A ceiling with ``audit`` [mixed].

    Returns
    -------
    str
        Several lines [text].
    """
    parts = [
        "Before announcing this season",
        *(f"- {sentence}" for sentence in audit_sentences(found)),
        "",
        "Rules moved by a tenth, each alone",
        _rules(found["audit"]),
        "",
        "Tones, as the winner plays them, and the contest without or beside them",
        _tones(found["audit"]),
    ]
    if found["audit"]["drivers"]:
        parts += ["", "Drivers", _drivers(found["audit"]["drivers"])]
    return "\n".join(parts)


def audit_sentences(found: dict[str, Any]) -> list[str]:
    """What an organiser should know, one point a sentence."""
    audit = found["audit"]
    return [*_contest(audit), *_idle(audit), *_narrow(audit), *_room(found), *_choice(audit["drivers"])]


def _contest(audit: dict[str, Any]) -> list[str]:
    types = audit["types"]
    if len(types) < 2:
        return ["Only one type fits, so that rules and tones cannot change who wins."]
    lead, first, second = (
        types[0]["best_db"] - types[1]["best_db"],
        types[0]["topology"],
        types[1]["topology"],
    )
    flips = sorted(_flips(audit), key=lambda flip: -flip[0])
    if flips:
        start = f"Today {first} leads {second} by {lead:.2f} dB"
        if lead < LEVEL_DB:
            start = f"Today {first} and {second} are level within {LEVEL_DB:g} dB"
        more = len(flips) - MOST_FLIPS
        rest = f", and with {more} smaller {'leads' if more > 1 else 'lead'}" if more > 0 else ""
        told = _either([words for _, words in flips[:MOST_FLIPS]])
        sentences = [f"{start}. Another type wins with {told}{rest}."]
    else:
        sentences = [
            f"The winner is firm: {first} leads by {lead:.2f} dB, and no rule moved by a tenth and no tone "
            "left out or moved by a twentieth puts another type first."
        ]
    lost = [_moved_rule(r) for r in audit["rules"] if r["best_db"] is None]
    if lost:
        sentences.append(f"None of these boxes fits any more with {_either(lost)}.")
    return sentences


def _flips(audit: dict[str, Any]) -> list[tuple[float, str]]:
    """Changes under which another type wins: its lead and the words for it."""
    flips = [(r, _moved_rule(r)) for r in audit["rules"]]
    for t in audit["tones"]:
        if t["left_out"] is not None:
            flips.append((t["left_out"], f"no tone at {t['hz']:g} Hz ({_winner(t['left_out'])})"))
        flips += [(m, f"{m['to_hz']:.4g} Hz for {t['hz']:g} Hz ({_winner(m)})") for m in t["moved"]]
    return [(c["margin_db"] or 0.0, w) for c, w in flips if c["changes_winner"] and c["best_db"] is not None]


def _either(words: list[str]) -> str:
    return words[0] if len(words) == 1 else "; ".join(words[:-1]) + "; or " + words[-1]


def _moved_rule(rule: dict[str, Any]) -> str:
    words = f"{_WORDS[rule['rule']]} {rule['to']:.4g} {rule['unit']} for {rule['from']:.4g} {rule['unit']}"
    return words if rule["best_db"] is None else f"{words} ({_winner(rule)})"


def _winner(change: dict[str, Any]) -> str:
    if change["best_db"] is None:
        return "nothing fits"
    ahead = "" if change["margin_db"] is None else f", {change['margin_db']:.2f} dB ahead"
    return f"{change['topology']}{ahead}"


def _idle(audit: dict[str, Any]) -> list[str]:
    idle = [u for u in audit["uses"] if not u["binds"]]
    if not idle:
        return ["Every limit stops a leading box at some tone."]
    words = [
        f"{_WORDS[u['rule']]} ({written(u['most'], 3)} of {written(u['limit'], 4)} {u['unit']} used)"
        for u in idle
    ]
    verb = "never binds" if len(idle) == 1 else "never bind"
    return [f"{_capital(listed(words))} {verb} on the leading boxes: leave out, or set lower to matter."]


def _narrow(audit: dict[str, Any]) -> list[str]:
    sentences = []
    for t in audit["tones"]:
        if t["narrow"]:
            why = "; ".join(_WHY[word] for word in t["why"])
            gain = ""
            if t["left_out"] is not None and t["left_out"]["gain_db"] is not None:
                gain = f" Without it the other tones would average {t['left_out']['gain_db']:.2f} dB more."
            sentences.append(f"The tone at {t['hz']:g} Hz rewards a box made for it: {why}.{gain}")
    if not sentences and len(audit["tones"]) > 1:
        sentences.append("No tone rewards a box made for it alone.")
    return sentences


def _room(found: dict[str, Any]) -> list[str]:
    best = found["best_found_db"]
    above = [f"{best - score:.1f} dB above the best {name}" for name, score in found["par"].items()]
    own = [r for r in found["rungs"] if r["name"] == "every tone with its own box"]
    ceiling = (
        f", and {own[0]['above_best_db']:.1f} dB below what a box for every tone would give" if own else ""
    )
    if not above:
        return []
    return [f"Room to win: the best box found is {listed(above)}{ceiling}."]


def _choice(drivers: list[dict[str, Any]]) -> list[str]:
    fit = [d for d in drivers if d["best_db"] is not None]
    sentences = [f"{d['name']}: {d['why_none']}." for d in drivers if d["best_db"] is None]
    if len(fit) < 2:
        return sentences
    loud = sorted(fit, key=lambda d: -d["best_db"])
    sentences.append(
        f"{_capital(loud[0]['name'])} makes the loudest season, {loud[0]['best_db']:.2f} dB, "
        f"{loud[0]['best_db'] - loud[1]['best_db']:.2f} dB above {loud[1]['name']}."
    )
    racing = [d for d in fit if d["margin_db"] is not None]
    if racing:
        open_one, firm = min(racing, key=lambda d: d["margin_db"]), max(racing, key=lambda d: d["margin_db"])
        if open_one is not firm:
            near, far = (f"{d['name']}, {d['margin_db']:.2f} dB" for d in (open_one, firm))
            sentences.append(f"Types are nearest to each other with {near}, and farthest apart with {far}.")
    par = [d for d in fit if "vented box" in d["par"]]
    if len(par) > 1:
        wide = max(par, key=lambda d: d["best_db"] - d["par"]["vented box"])
        room = wide["best_db"] - wide["par"]["vented box"]
        sentences.append(f"{_capital(wide['name'])} leaves most room above a vented box, {room:.1f} dB.")
    return sentences


def _rules(audit: dict[str, Any]) -> str:
    rows, still = [], []
    for r in audit["rules"]:
        if r["best_db"] is None:
            rows.append([_step(r), "none fits", "", "", ""])
        elif r["changes_winner"] or abs(r["gain_db"]) >= NOTABLE_DB:
            star = " *" if r["changes_winner"] else ""
            rows.append(
                [_step(r), f"{r['best_db']:.2f}", f"{r['gain_db']:+.2f}", r["topology"] + star, _lead(r)]
            )
        else:
            still.append(r["rule"])
    text = text_table(["rule", "best, dB", "change", "winner", "ahead by"], rows) if rows else ""
    if any(r["changes_winner"] for r in audit["rules"]):
        text += "\n* another type than today"
    quiet = [_WORDS[key] for key in dict.fromkeys(still) if still.count(key) == 2]
    return text + (f"\nchange nothing either way: {listed(quiet)}" if quiet else "")


def _step(rule: dict[str, Any]) -> str:
    return f"{_WORDS[rule['rule']]} {rule['from']:.4g} -> {rule['to']:.4g} {rule['unit']}"


def _lead(change: dict[str, Any]) -> str:
    return "" if change["margin_db"] is None else f"{change['margin_db']:.2f}"


def _tones(audit: dict[str, Any]) -> str:
    now = audit["types"][0]["graph"]

    def who(change: dict[str, Any] | None) -> str:
        if change is None:
            return "-"
        if change["graph"] is None:
            return "none fits"
        return "same" if change["graph"] == now else short_name(named_topology(change["graph"]))

    def db(value: float | None) -> str:
        return "-" if value is None else f"{value:+.1f}"

    rows = []
    for t in audit["tones"]:
        sides = {m["to_hz"] < t["hz"]: m for m in t["moved"]}
        out = t["left_out"]
        rows.append(
            [
                f"{t['hz']:g} Hz", f"{t['level_db']:.1f}", db(t["above_others_db"]), db(t["above_rival_db"]),
                db(t["peak_db"]), db(None if out is None else out["gain_db"]), who(out), who(sides.get(True)),
                who(sides.get(False)),
            ]
        )  # fmt: skip
    head = ["tone", "dB", "to others", "to next type", "peak", "others gain", "winner without", "5 % lower"]
    return text_table([*head, "5 % higher"], rows)


def _drivers(drivers: list[dict[str, Any]]) -> str:
    rows = []
    for d in drivers:
        if d["best_db"] is None:
            rows.append([d["name"], "none fits", *[""] * 9])
            continue
        par = [d["par"].get(name) for name in ("closed box", "vented box")]
        stops = ", ".join(f"{LIMIT_WORDS[k]} {100 * v:.0f} %" for k, v in d["stops"].items())
        rows.append(
            [
                d["name"], f"{d['best_db']:.2f}", *("-" if p is None else f"{p:.1f}" for p in par),
                d["topology"], _lead(d), f"{d['evenness_db']:.1f}",
                "-" if d["gap_db"] is None else f"{d['gap_db']:.1f}", f"{d['power_db_per_w']:+.3f}",
                f"{d['excursion_db_per_mm']:+.2f}", stops,
            ]
        )  # fmt: skip
    head = ["driver", "best, dB", "closed", "vented", "winner", "ahead by", "spread", "gap", "dB/W", "dB/mm"]
    note = (
        "spread: between the winner's tones; gap: to a box of its own for every tone; dB/W and dB/mm: prices "
        "of power and excursion"
    )
    return text_table([*head, "what stops the winner"], rows) + "\n" + note


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
