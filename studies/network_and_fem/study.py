"""Compare the acoustic network with finite elements at real sizes.

Run with ``python -m studies.network_and_fem.study [--reduced] [--out FOLDER]``.
"""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path

import numpy as np

from models.bends import fold_correction, mitred_bend_correction
from studies.network_and_fem import limits
from studies.network_and_fem.cases import Case, box_of, chamber_cases, drawn_cases, two_chamber_cases
from studies.network_and_fem.comparing import BAND_HZ, RULES, errors, fem_curves, network_curves
from studies.network_and_fem.folded import Treatment, channel_squares, folded_cases
from studies.network_and_fem.pairs import even_pressure, pair_table
from studies.network_and_fem.terms import TERMS, variant

Curves = tuple[np.ndarray, np.ndarray]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Agreement of one case between 50 and 400 Hz, away from poles and zeros.

    Attributes
    ----------
    name : str
        The case [text].
    impedance_db, transfer_db : tuple of two floats
        Median and largest difference of level [dB].
    shift_percent : float
        Largest shift of a pole or zero [%].
    """

    name: str
    impedance_db: tuple[float, float]
    transfer_db: tuple[float, float]
    shift_percent: float


def row(case: Case, hz: np.ndarray, fem: Curves) -> Row:
    """Compare one case."""
    found = errors(hz, fem, network_curves(case.batch, hz))
    band = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    z, h = (np.abs(level[band]) for level in (found.impedance_db, found.transfer_db))
    shifts = found.shifts_percent[(found.turns_hz >= BAND_HZ[0]) & (found.turns_hz <= BAND_HZ[1])]
    return Row(
        name=case.name,
        impedance_db=(float(np.nanmedian(z)), float(np.nanmax(z))),
        transfer_db=(float(np.nanmedian(h)), float(np.nanmax(h))),
        shift_percent=float(np.max(np.abs(shifts), initial=0.0)),
    )


def print_rows(title: str, rows: list[Row]) -> None:
    """Print a table of cases."""
    print(f"\n{title}\n")
    print("| case | impedance median, worst dB | transfer median, worst dB | largest shift % |")
    print("|---|---|---|---|")
    for r in rows:
        z, h = (f"{median:.3f}, {worst:.2f}" for median, worst in (r.impedance_db, r.transfer_db))
        print(f"| {r.name} | {z} | {h} | {r.shift_percent:.2f} |")


def print_terms(title: str, cases: list[Case], hz: np.ndarray, fem: dict[str, Curves]) -> None:
    """Print what each term of the network is worth."""
    print(f"\n| {title} | largest median dB | mean of worst dB | worst dB | largest shift % |")
    print("|---|---|---|---|---|")
    for name in TERMS:
        with variant(name):
            rows = [row(case, hz, fem[case.name]) for case in cases]
        median = max(max(r.impedance_db[0], r.transfer_db[0]) for r in rows)
        worst = [max(r.impedance_db[1], r.transfer_db[1]) for r in rows]
        shift = max(r.shift_percent for r in rows)
        print(f"| {name} | {median:.3f} | {np.mean(worst):.3f} | {max(worst):.2f} | {shift:.2f} |")


def bend_table(finest: float) -> list[tuple[str, float, float]]:
    """Plane bends and folds of unit width: name, squares by finite elements, squares by models.bends."""
    height, leg, rows = 4.0 * finest, 3.0, []
    for b in (1.0, 0.7, 0.5):
        cuboids = [
            box_of((0, 0, 0), (leg + b, 1.0, height)),
            box_of((leg, 1.0, 0), (leg + b, 1.0 + leg, height)),
        ]
        ends = (box_of((0, 0, 0), (0, 1.0, height)), box_of((leg, 1 + leg, 0), (leg + b, 1 + leg, height)))
        form = leg + 0.5 * b + (leg + 0.5) / b + float(mitred_bend_correction(1.0, b))
        rows.append((f"right angle, 1 to {b:g}", channel_squares(cuboids, ends, height, finest=finest), form))
    for t, g in ((0.067, 1.0), (0.2, 1.0), (0.2, 0.6), (0.2, 1.5), (0.5, 1.0)):
        across = leg + g
        cuboids = [
            box_of((0, 0, 0), (across, 1.0, height)),
            box_of((0, 1.0 + t, 0), (across, 2.0 + t, height)),
            box_of((leg, 1.0, 0), (across, 1.0 + t, height)),
        ]
        ends = (box_of((0, 0, 0), (0, 1.0, height)), box_of((0, 1.0 + t, 0), (0, 2.0 + t, height)))
        form = 2.0 * leg + g + t + 1.0 + float(fold_correction(1.0, g, t))
        squares = channel_squares(cuboids, ends, height, finest=finest)
        rows.append((f"fold, partition {t:g}, gap {g:g}", squares, form))
    return rows


def print_limits() -> None:
    """Print where the network stops to agree."""
    print("\n| tone over first mode across | largest median dB | worst dB |\n|---|---|---|")
    for low, high, median, worst in limits.high_tones():
        print(f"| {low:g} to {high:g} | {median:.3f} | {worst:.2f} |")
    for title, values, build in (
        ("width of a full-height duct in a 125 mm wall", (0.03, 0.07, 0.11, 0.125), limits.wide_duct),
        ("gap of driver and duct on one wall", (0.001, 0.003, 0.006, 0.012), limits.close_on_a_wall),
        ("gap of each to a common edge", (0.001, 0.003, 0.006, 0.012), limits.close_around_a_corner),
        ("depth of a room between driver and duct", (0.01, 0.02, 0.03, 0.05), limits.facing),
        ("length of a hole of 50 x 70 mm", (0.003, 0.006, 0.012, 0.025), limits.hole),
    ):
        print(f"\n| {title}, mm | median dB | worst dB |\n|---|---|---|")
        for value, median, worst, _ in limits.sweep(values, build):
            print(f"| {1e3 * value:g} | {median:.3f} | {worst:.2f} |")


def draw(cases: list[Case], hz: np.ndarray, fem: dict[str, Curves], path: Path) -> None:
    """Figure of the curves of some cases."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    from optimizer.style import COLOURS, FIGURE_STYLE, INK

    with pyplot.rc_context(FIGURE_STYLE):
        figure, axes = pyplot.subplots(
            2, len(cases), figsize=(3.4 * len(cases), 5.6), sharex=True, squeeze=False, layout="constrained"
        )
        for column, case in enumerate(cases):
            lump = dataclasses.replace(RULES, physics=dataclasses.replace(RULES.physics, chambers="lump"))
            curves = (
                ("lump", network_curves(case.batch, hz, lump), {"color": COLOURS[1], "linestyle": "--"}),
                ("network", network_curves(case.batch, hz), {"color": COLOURS[0]}),
            )
            for panel in (0, 1):
                for label, values, style in curves:
                    axes[panel, column].plot(hz, 20 * np.log10(np.abs(values[panel])), label=label, **style)
                every = slice(None, None, max(1, hz.size // 60))
                exact = 20 * np.log10(np.abs(fem[case.name][panel][every]))
                axes[panel, column].plot(
                    hz[every], exact, ".", color=INK, markersize=4, label="finite elements"
                )
            axes[0, column].set_title(case.name)
            axes[1, column].set_xlabel("frequency [Hz]")
        axes[0, 0].set_ylabel("input impedance over ωρ [dB re 1/m]")
        axes[1, 0].set_ylabel("flow out of the mouth per flow in [dB]")
        axes[0, 0].legend()
        figure.savefig(path, dpi=110)
        pyplot.close(figure)


def main(arguments: list[str] | None = None) -> list[Row]:
    """Run the study, print its tables and draw its figure.

    Parameters
    ----------
    arguments : list of str, optional
        Command line without the program's name [text].

    Returns
    -------
    list of Row
        Agreement of each case [dB].
    """
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="four cases on coarse grids, no limits")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder of the figure")
    options = parser.parse_args(arguments)
    rooms, pairs, lines = chamber_cases(), two_chamber_cases(), folded_cases()
    if options.reduced:
        rooms, pairs, lines = rooms[8:9], pairs[1:], lines[:1]
    hz = np.arange(40.0, 461.0, 3.0 if options.reduced else 1.0)
    drawn = drawn_cases(1 if options.reduced else 12)
    cases = rooms + pairs + lines + drawn
    finest = 0.01 if options.reduced else 0.005
    fem = {case.name: fem_curves(case, hz, finest=finest) for case in cases}
    rows = [row(case, hz, fem[case.name]) for case in cases]
    print_rows("Network less finite elements, 50 to 400 Hz", rows)
    print_terms("arranged rooms", rooms + pairs, hz, fem)
    print_terms("drawn rooms", drawn, hz, fem)
    print("\n| bends of folded lines | worst dB | largest shift % |\n|---|---|---|")
    treatments: tuple[Treatment, ...] = ("none", "length", "area", "placed")
    for treatment in treatments:
        bent = [c for c in folded_cases(treatment) if c.name in fem]
        found = [row(case, hz, fem[case.name]) for case in bent]
        worst = max(max(r.impedance_db[1], r.transfer_db[1]) for r in found)
        print(f"| {treatment} | {worst:.2f} | {max(r.shift_percent for r in found):.2f} |")
    print("\n| plane channel | squares by finite elements | squares by form |\n|---|---|---|")
    finest = 0.1 if options.reduced else 0.02
    for name, squares, form in [*bend_table(finest), *pair_table(finest)]:
        print(f"| {name} | {squares:.4f} | {form:.4f} |")
    print("\n| wall, in widths | one pressure in the mouth: further share of the end |\n|---|---|")
    for wall in (0.05, 0.1, 0.2, 0.3):
        print(f"| {wall:g} | {even_pressure(wall, finest):.3f} |")
    if not options.reduced:
        print_limits()
    options.out.mkdir(parents=True, exist_ok=True)
    shown = [case for case in (rooms[-1] if options.reduced else rooms[13], *pairs[-1:], *lines[:1])]
    draw(shown, hz, fem, options.out / "network_and_fem.png")
    return rows


if __name__ == "__main__":
    main()
