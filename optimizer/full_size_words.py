"""A model and its full size in words and tables, for people."""

from __future__ import annotations

from typing import Any

from models.similarity import TRANSITION
from optimizer.cli_output import text_table
from optimizer.exposure import exposure_sentence
from optimizer.full_size import DAMPING_BAND, END_LOSS_BAND, FullSize
from optimizer.full_size_build import driver_record

SETTLED_ORDER_DB = 0.05
"""Scores nearer than this are called equal when orders are compared."""


def scaling_words(sizes: FullSize) -> str:
    """What carries over and what does not, and the full-size driver and limits.

    Parameters
    ----------
    sizes : FullSize
        Rules of both sizes [record].

    Returns
    -------
    str
        Several lines [text].
    """
    n, limits = sizes.scale, sizes.full.limits
    driver = driver_record(sizes, sizes.full.driver)
    grown = [
        f"full size is the model times {n:g}: lengths x {n:g}, areas and power x {n**2:g}, volumes and "
        f"masses x {n**3:g}, frequencies / {n:g}",
        "carries over exactly where nothing is lost at walls: levels (with the microphone moved too), air "
        "speed, impedance, Qs, Re",
        f"  with it: excursion, voltage, current, Bl and Le x {n:g}; Sd and power x {n**2:g}; "
        f"Vas x {n**3:g}; fs / {n:g}",
        "does not carry over, and is predicted: layers at walls are "
        f"{n**0.5:.3g} times thinner against the box at full size, so ducts and chambers lose less",
        f"does not carry over, and is not predicted: Reynolds numbers are {n:g} times higher at full size, "
        "so the loss of duct ends may differ; a real cabin damps as its own panels, seats and leaks do",
        f"  columns 'ends' and 'damping' vary these: end losses x {END_LOSS_BAND[0]:g} and "
        f"x {END_LOSS_BAND[1]:g}, the cabin's loss factor x {DAMPING_BAND[0]:g} and x {DAMPING_BAND[1]:g}",
        f"driver: {driver['name']}, {'enlarged' if sizes.scaled_driver else 'given'}: "
        f"fs {driver['fs_hz']:.4g} Hz, Qms {driver['qms']:.3g}, Qes {driver['qes']:.3g}, "
        f"Vas {driver['vas_l']:.4g} l, Re {driver['re_ohm']:.3g} ohm, Sd {driver['sd_cm2']:.4g} cm2, "
        f"Mms {driver['mms_g']:.4g} g, Bl {driver['bl_tm']:.4g} T m, Le {driver['le_mh']:.3g} mH",
        *([] if sizes.scaled_driver else ["  changes of level are this driver's too, not of size alone"]),
        f"limits: power {limits.power:g} W ({limits.power_kind}), "
        f"excursion {limits.excursion * 1e3:g} mm peak"
        + "".join(
            f", {words} {value:g} {unit}"
            for value, words, unit in (
                (limits.air_speed, "air speed", "m/s peak"),
                (limits.voltage, "amplifier", "V rms"),
                (limits.current, "amplifier", "A rms"),
            )
            if value is not None
        ),
    ]
    return "\n".join(grown)


def design_words(name: str, one: dict[str, Any]) -> str:
    """Levels of a design at both sizes, tone by tone.

    Parameters
    ----------
    name : str
        Its file [text].
    one : dict
        What :func:`optimizer.full_size.put_beside` returns [mixed].

    Returns
    -------
    str
        Several lines [text].
    """
    lines = [
        f"{name}: {one['topology']} ({one['graph']}), score {_fixed(one['score_db'])} dB as a model, "
        f"{_fixed(one['full_size_score_db'])} dB at full size"
    ]
    lines += [f"  does not fit at full size: {reason}" for reason in one["reasons_not"]]
    if not one["settled"]:
        lines.append("  warning: drive and duct losses did not agree within the tolerance at every tone")
    loud = [
        {"tones": [{"hz": t["full_size_hz"], "level_db": t["full_size_level_db"]} for t in space["tones"]]}
        for space in one["spaces"]
    ]
    if caution := exposure_sentence(loud, 1.0):
        lines.append(f"  caution, hearing at full size: {caution}")
    head = ["Hz", "full-size Hz", "model dB", "full-size dB", "change dB", "ends dB", "damping dB"]
    head += ["drive V", "real W", "excursion mm", "air m/s", "stopped by", "as a model"]
    for space in one["spaces"]:
        rows = [
            [
                f"{tone['hz']:.5g}",
                f"{tone['full_size_hz']:.4g}",
                _fixed(tone["level_db"]),
                _fixed(tone["full_size_level_db"]),
                _signed(tone["change_db"]),
                _pair(tone["end_loss_change_db"]),
                _pair(tone["damping_change_db"]),
                _fixed(tone["full_size_drive_v_rms"]),
                _fixed(tone["full_size_real_power_w"], 1),
                _fixed(tone["full_size_excursion_mm"]),
                _fixed(tone["full_size_air_speed_m_s"], 1),
                tone["full_size_limit"].replace("_", " "),
                tone["limit"].replace("_", " "),
            ]
            for tone in space["tones"]
        ]
        distance = space["full_size_distance_m"]
        where = "" if distance is None else f", microphone at {distance:g} m"
        lines += ["", f"{space['name']}{where}:", text_table(head, rows)]
    return "\n".join(lines + _duct_lines(one))


def _duct_lines(one: dict[str, Any]) -> list[str]:
    lines = [""] if one["ducts"] else []
    for duct in one["ducts"]:
        model, full = duct["model"], duct["full_size"]
        lines.append(
            f"{duct['duct']} at its fastest tone, {duct['hz']:g} Hz as a model: viscous layer "
            f"{model['viscous_layer_mm']:.3g} mm, {full['viscous_layer_mm']:.3g} mm at full size; a wave "
            f"loses {100 * model['lost_per_radian']:.2g} % a radian, {100 * full['lost_per_radian']:.2g} %; "
            f"Reynolds number {_count(model['reynolds'])}, {_count(full['reynolds'])}; on the layer "
            f"{_count(model['layer_reynolds'])}, {_count(full['layer_reynolds'])}"
        )
        if (full["layer_reynolds"] or 0.0) > TRANSITION:
            lines.append(
                f"  above about {TRANSITION:g} the layer becomes turbulent, and {duct['duct']} loses more "
                "than is predicted here"
            )
    return lines


def order_words(names: list[str], found: list[dict[str, Any]]) -> tuple[str, dict[str, Any]]:
    """Whether the ranking of several designs survives.

    Parameters
    ----------
    names : list of str
        Their files or numbers [text].
    found : list of dict
        What :func:`optimizer.full_size.put_beside` returns of each [mixed].

    Returns
    -------
    tuple of str and dict
        A table with a sentence, and the same as data [mixed].
    """
    model = _order(found, "score_db")
    full = _order(found, "full_size_score_db")
    swaps = _swapped(names, found, "full_size_score_db", None)
    varied = []
    for key, words, band in (
        ("end_loss_scores_db", "end losses", END_LOSS_BAND),
        ("damping_scores_db", "damping", DAMPING_BAND),
    ):
        for place, factor in enumerate(band):
            if any(one[key] for one in found):
                varied.append((f"{words} x {factor:g}", _swapped(names, found, key, place)))
    rows = [
        [
            names[i],
            found[i]["topology"] if ";" not in found[i]["topology"] else f"graph {found[i]['graph']}",
            _fixed(found[i]["score_db"]),
            _fixed(found[i]["full_size_score_db"]),
            _signed(found[i]["change_db"]),
            str(model.index(i) + 1),
            str(full.index(i) + 1),
        ]
        for i in model
    ]
    head = ["design", "topology", "model dB", "full-size dB", "change dB", "place", "full-size place"]
    if swaps:
        sentence = "The order changes at full size: " + "; ".join(swaps)
    else:
        sentence = "The order is the same at full size"
    sentence += f", differences below {SETTLED_ORDER_DB:g} dB not counted."
    unsure = [f"with {words} {'; '.join(changed)}" for words, changed in varied if changed]
    if unsure:
        sentence += " It would change " + "; ".join(unsure) + "."
    elif varied:
        sentence += f" It also holds with {', '.join(words for words, _ in varied)}."
    record = {
        "model": [names[i] for i in model],
        "full_size": [names[i] for i in full],
        "survives": not swaps,
        "changes": swaps,
        "changes_where_varied": dict(varied),
    }
    return text_table(head, rows) + "\n" + sentence, record


def _score(one: dict[str, Any], key: str, place: int | None) -> float:
    value = one[key] if place is None else (one[key] or [one["full_size_score_db"]] * 2)[place]
    return float("-inf") if value is None else float(value)


def _order(found: list[dict[str, Any]], key: str) -> list[int]:
    return sorted(range(len(found)), key=lambda i: -_score(found[i], key, None))


def _swapped(names: list[str], found: list[dict[str, Any]], key: str, place: int | None) -> list[str]:
    """Pairs that stand the other way round than as models, both times by more than a hair."""
    order = _order(found, "score_db")
    result = []
    for a, first in enumerate(order):
        for second in order[a + 1 :]:
            before = _score(found[first], "score_db", None) - _score(found[second], "score_db", None)
            after = _score(found[second], key, place) - _score(found[first], key, place)
            if before > SETTLED_ORDER_DB and after > SETTLED_ORDER_DB:
                result.append(f"{names[second]} passes {names[first]}")
    return result


def build_words(one: dict[str, Any]) -> str:
    """Dimensions and panels of a design at full size.

    Parameters
    ----------
    one : dict
        What :func:`optimizer.full_size_build.full_size_build` returns [mixed].

    Returns
    -------
    str
        Several lines [text].
    """
    size = one["dimensions"]
    lines = ["dimensions at full size, in mm:", f"  envelope, outer: {_by(size['envelope_mm'])} (x, y, z)"]
    for name, chamber in size["chambers"].items():
        lines.append(f"  chamber {name}, inner: {_by(chamber['sides_mm'])}, {chamber['volume_l']:.1f} l")
    lines += [f"  {_tube_words(duct)}" for duct in size["ducts"]]
    for d in size["diaphragms"]:
        lines.append(
            f"  {d['name']}: {d['area_cm2']:.0f} cm2, {d['mass_g']:.0f} g, {d['compliance_mm_n']:.3g} mm/N, "
            f"excursion {d['excursion_mm']:.3g} mm"
        )
    driver = size["driver"]
    lines.append(
        f"  driver: cut-out Ø {driver['cutout_mm']:.0f}, frame Ø {driver['frame_mm']:.0f}, "
        f"depth {driver['depth_mm']:.0f}"
    )
    rows = [
        [
            panel["name"],
            str(panel["count"]),
            f"{panel['length_mm']:.0f}",
            f"{panel['width_mm']:.0f}",
            f"{panel['thickness_mm']:g}",
        ]
        for panel in one["panels"]
    ]
    area = one["sheet_area_m2"]
    lines += ["", f"panels of {one['sheet_mm']:g} mm sheet, {area:.2f} m2 in all, sizes in mm:"]
    lines.append(text_table(["panel", "count", "length", "width", "thickness"], rows))
    holes = [
        f"  {panel['name']}: {hole['what']}, {_hole_size(hole)}, centre {hole['at_mm'][0]:.0f} along the "
        f"length and {hole['at_mm'][1]:.0f} along the width from the panel's lowest corner"
        for panel in one["panels"]
        for hole in panel["cut_outs"]
    ]
    lines += ["cut-outs, in mm:", *holes] if holes else []
    if one["tubes"]:
        lines.append("tubes, inside sizes in mm, the sheet that they pass included in the length:")
        lines += [f"  {_tube_words(duct)}" for duct in one["tubes"]]
    if one["from_plan"]:
        volumes = ", ".join(f"{name} {volume:.1f} l" for name, volume in one["chamber_volumes_l"].items())
        lines.append(f"in sheet: score {_fixed(one['score_in_sheet_db'])} dB, chambers {volumes}")
    return "\n".join([*lines, *(f"note: {note}" for note in one["assumes"])])


def _tube_words(duct: dict[str, Any]) -> str:
    def section(key: str) -> str:
        if f"diameter{key}_mm" in duct:
            return f"Ø {duct[f'diameter{key}_mm']:.0f}"
        return _by(duct[f"slot{key}_mm"])

    tapered = "diameter_end_mm" in duct or "slot_end_mm" in duct
    count = "" if duct["count"] == 1 else f"{duct['count']} tubes, each "
    to = f" widening or narrowing to {section('_end')}" if tapered else ""
    return f"{duct['name']}: {count}{section('')}{to}, length {duct['length_mm']:.0f}"


def _hole_size(hole: dict[str, Any]) -> str:
    return f"Ø {hole['size_mm'][0]:.0f}" if hole["shape"] == "round" else _by(hole["size_mm"])


def _by(sides: list[float]) -> str:
    return " x ".join(f"{side:.0f}" for side in sides)


def _fixed(value: float | None, digits: int = 2) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _signed(value: float | None) -> str:
    return "-" if value is None else f"{value:+.2f}"


def _pair(values: list[float | None]) -> str:
    return "-" if not values else " / ".join(_signed(value) for value in values)


def _count(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"
