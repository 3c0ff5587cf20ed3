"""Columns of a measured impedance: what they may be, and how a header names them with their units."""

from __future__ import annotations

import math
import re

COLUMNS = {
    "hz": ("frequency", 1.0),
    "khz": ("frequency", 1e3),
    "ohm": ("magnitude", 1.0),
    "kohm": ("magnitude", 1e3),
    "deg": ("phase", math.pi / 180.0),
    "rad": ("phase", 1.0),
    "re_ohm": ("real", 1.0),
    "im_ohm": ("imaginary", 1.0),
}
"""Name of a column to its quantity and unit in SI; ``skip`` is one that is passed over."""

_ROLES = {
    "frequency": ("f", "freq", "frequency"),
    "magnitude": ("z", "|z|", "mag", "magnitude", "abs", "impedance", "modulus"),
    "phase": ("phase", "phi", "angle", "arg"),
    "real": ("re", "real", "resistance", "r"),
    "imaginary": ("im", "imag", "imaginary", "reactance", "x"),
}
_UNITS = {
    "hz": "hz", "khz": "khz", "ohm": "ohm", "ohms": "ohm", "ω": "ohm", "kohm": "kohm", "kω": "kohm",
    "deg": "deg", "degree": "deg", "degrees": "deg", "°": "deg",
    "rad": "rad", "radian": "rad", "radians": "rad",
}  # fmt: skip
_WITHOUT_UNIT = {"frequency": "hz", "magnitude": "ohm", "real": "re_ohm", "imaginary": "im_ohm"}
_COMPLEX = {("real", "ohm"): "re_ohm", ("imaginary", "ohm"): "im_ohm"}


def columns_of_header(cells: list[str]) -> tuple[tuple[str, ...], list[tuple[str, str]]]:
    """Meaning of the columns that a header names.

    Parameters
    ----------
    cells : list of str
        Names such as ``frequency_hz``, ``Phase (deg)`` or ``Re [ohm]`` [text].

    Returns
    -------
    tuple of str
        Keys of :data:`COLUMNS`, ``skip`` for columns of another kind [text].
    list of (str, str)
        Column and what is wrong with it [text].
    """
    columns, wrong = [], []
    for cell in cells:
        words = [w for w in re.split(r"[\s_()\[\]/,;]+", cell.strip().lower()) if w]
        units = [_UNITS[word] for word in words if word in _UNITS]
        rest = [word for word in words if word not in _UNITS]
        roles = [role for role, names in _ROLES.items() if any(word in names for word in rest)]
        specific = [role for role in roles if role != "magnitude"]  # as in "impedance phase"
        role = (specific or roles or [""])[0]
        name = "skip"
        if role and units:
            name = _COMPLEX.get((role, units[0]), units[0])
            if COLUMNS[name][0] != role:
                wrong.append((cell, f"{role} cannot be in {units[0]}"))
        elif role == "phase":
            hint = "call the column phase_deg or phase_rad, or give --columns"
            wrong.append((cell, f"phase has no unit; {hint}"))
        elif role:
            name = _WITHOUT_UNIT[role]
        elif units and (not rest or units[0] not in ("ohm", "kohm")):
            name = units[0]  # the unit alone tells a frequency or a phase
        columns.append(name)
    return tuple(columns), wrong


def needed_columns(columns: tuple[str, ...]) -> str:
    """What is missing or double among columns, as a sentence; empty where nothing is."""
    roles = [COLUMNS[name][0] for name in columns if name != "skip"]
    for role in dict.fromkeys(roles):
        if roles.count(role) > 1:
            return f"{role} is there {roles.count(role)} times ({', '.join(columns)})"
    if "frequency" not in roles:
        return f"there is no column of frequency ({', '.join(columns)}); --columns can name them"
    polar, cartesian = {"magnitude", "phase"} <= set(roles), {"real", "imaginary"} <= set(roles)
    if polar == cartesian:
        what = "both kinds" if polar else "neither"
        needs = "needs magnitude and phase, or real and imaginary part"
        return f"{needs}; found {what} ({', '.join(columns)}); --columns can name them"
    return ""


def parse_columns(text: str) -> tuple[str, ...]:
    """Columns of an option such as ``hz,ohm,deg``.

    Parameters
    ----------
    text : str
        Names separated by commas [text].

    Returns
    -------
    tuple of str
        The names [text].

    Raises
    ------
    ValueError
        A name that is none, or names that do not make an impedance.
    """
    names = tuple(name.strip().lower() for name in text.split(","))
    for name in names:
        if name != "skip" and name not in COLUMNS:
            raise ValueError(f"{name!r} is none of {', '.join(COLUMNS)}, skip")
    if missing := needed_columns(names):
        raise ValueError(missing)
    return names
