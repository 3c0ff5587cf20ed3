"""The season's rules with their prices, and the ceiling above the best box."""

from __future__ import annotations

from html import escape
from typing import Any

from optimizer.ceiling_output import FREE_NETWORKS
from optimizer.priced_rules import PRICED_RULES
from optimizer.report_cards import basis, how_known, price_text
from optimizer.report_parts import table
from optimizer.run_folder import Run
from optimizer.takeover_words import takeover_sentences

ANY_ENCLOSURE = "any enclosure"
OWN_BOX = "every tone with its own box"


def ceiling_facts(run: Run) -> dict[str, dict[str, Any]]:
    """The rungs of the ceiling that a reader asks for first.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    dict
        ``bound``: the lowest bound for any enclosure; ``own``: every tone with its own box. Either may be
        missing [mixed].
    """
    rungs = (run.ceiling or {}).get("rungs", [])
    facts = {}
    bounds = [r for r in rungs if r["kind"] == "bound" and str(r["name"]).endswith(ANY_ENCLOSURE)]
    if bounds:
        facts["bound"] = min(bounds, key=lambda r: float(r["value_db"]))
    for rung in rungs:
        if rung["name"] == OWN_BOX:
            facts["own"] = rung
    return facts


def rules_section(run: Run) -> str:
    """The rules, what one unit more of each would give, and the ladder up to the ceiling.

    Parameters
    ----------
    run : Run
        The folder's content [record].

    Returns
    -------
    str
        HTML text [text].
    """
    first = run.candidates[0] if run.candidates else {"prices": []}
    prices = {p["rule"]: p for p in first["prices"]}
    known = (run.ceiling or {}).get("prices", [])
    dropped = {p["rule"]: p["dropped_gain_db"] for p in known if "dropped_gain_db" in p}
    told = basis(first["prices"][0]) if prices and "base_db" in first["prices"][0] else ""
    rows = []
    for rule in PRICED_RULES:
        value = rule_value(run.record["source"], rule.key)
        if value is None:
            continue
        price = prices.get(rule.key)
        rows.append(
            {
                "rule": rule.words,
                "set to": f"{value:g} {rule.unit}",
                "one unit more gives candidate 1": price_text(price) if price else "not known",
                "without it, at least (dB)": (price or {}).get("dropped_gain_db", dropped.get(rule.key)),
                "how known": how_known(price) if price else "",
            }
        )
    head = [name for name in rows[0] if any(row[name] not in (None, "") for row in rows)] if rows else []
    if told:  # says it once for all
        head.remove("how known")
    numeric = {i for i, name in enumerate(head) if name not in ("rule", "how known")}
    listing = table(head, [[row[name] for name in head] for row in rows], numeric)
    season = (run.folder / "season.toml").read_text(encoding="utf-8")
    return (
        '<section id="rules"><h2>Rules and their prices</h2>'
        f"<p>A price is what the score gains when a rule is one unit wider. {escape(told)}</p>"
        f"{listing}{_takeovers(first)}{_ladder(run)}"
        "<details><summary>The whole season file, defaults filled in</summary>"
        f"<pre>{escape(season)}</pre></details></section>"
    )


def _takeovers(candidate: dict[str, Any]) -> str:
    """Which topology takes over from the first candidate's, where the search sought it."""
    sentences = takeover_sentences(candidate.get("takeover") or {})
    return "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)


def rule_value(source: dict[str, Any], key: str) -> float | None:
    """Value of a rule in a season's source, by its dotted key; None where the season sets none."""
    value: Any = source
    for part in key.split("."):
        value = value.get(part) if isinstance(value, dict) else None
    return None if value is None else float(value)


def _audit_sentences(ceiling: dict[str, Any]) -> list[str]:
    """What would change who wins, where the ceiling was sought with an audit."""
    audit = ceiling["audit"] if "audit" in ceiling else {}
    return [str(sentence) for sentence in audit["sentences"]] if "sentences" in audit else []


def _ladder(run: Run) -> str:
    if not run.ceiling:
        return ""
    rows = [
        [rung["name"], float(rung["value_db"]), rung["kind"], rung["void_if"]]
        for rung in run.ceiling["rungs"]
    ]
    told = [*run.ceiling.get("verdict", []), *_audit_sentences(run.ceiling)]
    sentences = "".join(f"<p>{escape(sentence)}</p>" for sentence in told)
    return (
        "<h3>How much more there could be</h3>"
        "<p>A bound holds for every box of its family in the model it names. Evidence comes from searches, "
        f"which may have missed a better box. {FREE_NETWORKS}</p>"
        f"{sentences}{table(['step', 'dB', 'kind', 'false if'], rows, {1})}"
    )
