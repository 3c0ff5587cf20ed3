"""A driver's data from two impedance sweeps: the driver file, the table of values, the record as JSON."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, Literal

from models.identification import Identified, Setup, identify
from models.impedance_peak import IdentificationError, Sweep
from optimizer.cli_output import text_table
from optimizer.faults import ConfigError, Fault

REACH_BELOW, REACH_ABOVE = 10.0, 20.0
"""Default range of the fit: the lower resonance over the one, the upper one times the other."""

ROWS = (
    ("fs", "fs", 1.0, "Hz"),
    ("qms", "Qms", 1.0, ""),
    ("qes", "Qes", 1.0, ""),
    ("qts", "Qts", 1.0, ""),
    ("vas", "Vas", 1e-3, "l"),
    ("re", "Re", 1.0, "ohm"),
    ("mms", "Mms", 1e-3, "g"),
    ("cms", "Cms", 1e-3, "mm/N"),
    ("rms", "Rms", 1.0, "kg/s"),
    ("bl", "Bl", 1.0, "T m"),
    ("eta0", "eta0", 1e-2, "%"),
    ("le", "Le", 1e-3, "mH"),
    ("coil_k", "K", 1.0, "ohm s^n"),
    ("coil_n", "n", 1.0, ""),
)
"""Quantity, its symbol, its unit in SI and in words."""

_FILE_KEYS = {
    "mms": "mms_g", "cms": "cms_mm_n", "rms": "rms_kg_s", "bl": "bl_tm", "re": "re_ohm", "le": "le_mh",
    "coil_k": "coil_k", "coil_n": "coil_n",
}  # fmt: skip
_COIL_ROWS = {"inductance": ("le",), "lossy": ("coil_k", "coil_n")}


def derive(
    paths: tuple[Path, Path],
    sweeps: tuple[Sweep, Sweep],
    setup: Setup,
    coil: Literal["auto", "inductance", "lossy"] = "auto",
    span_hz: tuple[float, float] | None = None,
) -> tuple[tuple[Sweep, Sweep], Identified]:
    """Fit two sweeps.

    Parameters
    ----------
    paths : tuple of Path
        Files of the sweeps, named in faults [path].
    sweeps : tuple of Sweep
        Driver alone, and loaded [record].
    setup : Setup
        How they were taken [record].
    coil : str
        Form of the coil; see :func:`models.identification.identify` [text].
    span_hz : tuple of float or None
        Lowest and highest frequency of the fit; None reaches from a tenth of the lower resonance to
        twenty times the upper one [Hz].

    Returns
    -------
    tuple of Sweep
        The points that were fitted [record].
    Identified
        Values and uncertainties [record].

    Raises
    ------
    ConfigError
        No driver can be found from these sweeps.
    """
    from models.impedance_peak import find_peak

    try:
        if span_hz is None:
            peaks = [find_peak(sweep, i).fs for i, sweep in enumerate(sweeps)]
            span_hz = min(peaks) / REACH_BELOW, max(peaks) * REACH_ABOVE
        used = (sweeps[0].between(*span_hz), sweeps[1].between(*span_hz))
        for number, sweep in enumerate(used):
            if sweep.hz.size < 12:
                span = f"{span_hz[0]:.4g} to {span_hz[1]:.4g} Hz"
                words = f"{sweep.hz.size} points from {span} are too few to fit"
                raise IdentificationError(number, words)
        return used, identify(used[0], used[1], setup, coil)
    except IdentificationError as error:
        raise ConfigError([Fault(str(paths[error.sweep]), 1, "impedance", str(error))]) from None


def rows_of(found: Identified) -> list[dict[str, Any]]:
    """Values with standard uncertainties in the units of data sheets, one row a quantity."""
    coil = _COIL_ROWS[found.coil]
    return [
        {
            "quantity": name,
            "symbol": symbol,
            "unit": unit,
            "value": found.values[name] / scale,
            "standard_uncertainty": found.uncertainties[name] / scale,
        }
        for name, symbol, scale, unit in ROWS
        if name not in ("le", "coil_k", "coil_n") or name in coil
    ]


def with_uncertainty(value: float, sigma: float) -> tuple[str, str]:
    """Value and uncertainty as text: two digits of the uncertainty, and the value to the same place."""
    if not (math.isfinite(sigma) and sigma > 0.0):
        return f"{value:.6g}", f"{sigma:.2g}"
    places = min(max(1 - math.floor(math.log10(sigma)), 0), 12)
    return f"{value:.{places}f}", f"{sigma:.{places}f}"


def derived_text(found: Identified, used: tuple[Sweep, Sweep], setup: Setup) -> str:
    """What is printed for a person.

    Parameters
    ----------
    found : Identified
        Values and uncertainties [record].
    used : tuple of Sweep
        The points that were fitted [record].
    setup : Setup
        How the sweeps were taken [record].

    Returns
    -------
    str
        Several lines [text].
    """
    table = []
    for row in rows_of(found):
        value, sigma = with_uncertainty(row["value"], row["standard_uncertainty"])
        table.append([f"{row['symbol']} {row['unit']}".strip(), value, sigma])
    first, second = used
    forms = {"inductance": "inductance in series", "lossy": "lossy inductance K (j w)^n in series"}
    lines = [
        text_table(["quantity", "value", "standard uncertainty"], table),
        "",
        f"Fitted {first.hz.size} and {second.hz.size} points from {min(first.hz[0], second.hz[0]):.4g} to "
        f"{max(first.hz[-1], second.hz[-1]):.4g} Hz; coil: {forms[found.coil]}.",
        f"The measured points scatter by {found.scatter * 100:.2g} % about the fit.",
    ]
    if found.box_loss is not None:
        lines.append(f"In the box the mechanical loss is {found.box_loss * 100:+.0f} % of the driver's own.")
    lines.append("The uncertainties hold the scatter alone. Beyond that:")
    if setup.added_mass is not None:
        lines.append("  1 % more added mass moves Mms, Rms and Bl^2 by 1 %, Cms and Vas by -1 %;")
        lines.append("  1 % more Sd moves Vas by 2 %.")
    else:
        lines.append("  1 % more volume of the box moves Cms and Vas by 1 %, Mms, Rms and Bl^2 by -1 %;")
        lines.append("  1 % more Sd moves Mms, Rms and Bl^2 by 2 % and Cms by -2 %.")
    lines += cautions(found)
    return "\n".join(lines)


def cautions(found: Identified) -> list[str]:
    """What makes the values less sure than they look, as sentences."""
    lines = []
    if found.memory > 0.3:
        factor = math.sqrt((1.0 + found.memory) / (1.0 - min(found.memory, 0.999)))
        lines.append(
            f"caution: neighbouring residuals are alike (correlation {found.memory:.2f}), so the model "
            f"leaves something out and the uncertainties are too small, by about a factor of {factor:.1f}."
        )
    if found.scatter > 0.05:
        lines.append(
            f"caution: a scatter of {found.scatter * 100:.2g} % is large; look at the figure's residuals."
        )
    return lines


def driver_toml(found: Identified, setup: Setup, name: str, sources: tuple[Path, Path]) -> str:
    """Text of a driver file that a season can name.

    Parameters
    ----------
    found : Identified
        Values and uncertainties [record].
    setup : Setup
        How the sweeps were taken [record].
    name : str
        Name of the driver [text].
    sources : tuple of Path
        Files of the sweeps [path].

    Returns
    -------
    str
        TOML [text].
    """
    if setup.added_mass is not None:
        how = f"{setup.added_mass * 1e3:.6g} g added"
    else:
        how = f"in a closed box of {(setup.box_volume or 0.0) * 1e3:.6g} l"
    mounting = "in a baffle" if setup.baffled else "in free air"
    rows = {row["quantity"]: row for row in rows_of(found)}

    def shown(key: str) -> str:
        value, sigma = with_uncertainty(rows[key]["value"], rows[key]["standard_uncertainty"])
        return f"{rows[key]['symbol']} {value} ± {sigma} {rows[key]['unit']}".rstrip()

    files = [" ".join(json.dumps(str(source), ensure_ascii=False).split()) for source in sources]
    lines = [
        f"# Measured driver: {files[0]} {mounting},",
        f"# {files[1]} with {how}." if setup.added_mass is not None else f"# {files[1]} {how}.",
        "# Values ± standard uncertainties from the scatter; mass with the air load of a baffle.",
        f"# {shown('fs')}, {shown('qms')}, {shown('qes')}, {shown('vas')}",
        "# To be added with a rule: displaced_cm3, cutout_mm, frame_mm, depth_mm.",
        "[driver]",
        f"name = {json.dumps(name, ensure_ascii=False)}",
        f"sd_cm2 = {setup.area * 1e4:.9g}",
    ]
    for quantity, key in _FILE_KEYS.items():
        if quantity in rows:
            row = rows[quantity]
            lines.append(f"{key} = {row['value']:.7g}  # ± {row['standard_uncertainty']:.2g}")
    return "\n".join(lines) + "\n"


def derived_record(found: Identified, used: tuple[Sweep, Sweep], setup: Setup) -> dict[str, Any]:
    """The result as plain data that is valid JSON [record]."""
    return {
        "values": rows_of(found),
        "coil": found.coil,
        "box_loss": found.box_loss,
        "scatter": found.scatter,
        "neighbour_correlation": found.memory,
        "points": [sweep.hz.size for sweep in used],
        "range_hz": [[float(sweep.hz[0]), float(sweep.hz[-1])] for sweep in used],
        "added_mass_g": None if setup.added_mass is None else setup.added_mass * 1e3,
        "box_l": None if setup.box_volume is None else setup.box_volume * 1e3,
        "sd_cm2": setup.area * 1e4,
        "cautions": cautions(found),
    }
