"""Whether the enclosure's block in the cabin matters, and whether the modal table with it is right.

Run with ``python -m studies.cabin_obstacle.study [--reduced] [--out FOLDER]``.
"""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path

import numpy as np

from models.air import Air
from models.cabin import cabin_table, envelope_box, opening_impedance, opening_port, site_port
from models.cabin_grid import Grid
from models.cabin_modes import cabin_grid, resolution
from models.envelope import Envelope, Site, front_centre
from models.spaces import Cabin, Opening
from studies.cabin_obstacle.fine import direct_matrix, refined_lines

AIR = Air(density=1.199314, sound_speed=343.9869, viscosity=1.812665e-5, heat_ratio=1.401099, prandtl=0.72826)
ENVELOPE = Envelope(width=0.24, height=0.18, depth=0.16, wall=0.003)
SHUT = Cabin(
    name="hatch shut", size=(0.62, 0.36, 0.30), enclosure_at=(0.53, 0.18, 0.09),
    microphone_at=(0.15, 0.18, 0.20), damping=0.10,
)  # fmt: skip
OPEN = dataclasses.replace(SHUT, name="hatch open", openings=(Opening(at=(0.2, 0.0, 0.15), area=0.02),))
SITES = {
    "front centre": front_centre(ENVELOPE),
    "front corner": Site("x-", (0.0, 0.0)),
    "side": Site("y+", (0.08, 0.09)),
    "top": Site("z+", (0.08, 0.12)),
    "back, 10 mm gap": Site("x+", (0.12, 0.09)),
}
NOTCH_DB = 12.0
"""A value this far below its curve's median is in a notch and counted apart."""


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Levels of table, empty room and fine solution for one hatch state.

    Attributes
    ----------
    table, empty, fine : ndarray, shape (n_curves, n_tones)
        Transfers of the sites, then self impedances, then other impedances [dB].
    names : list of str
        Names of the curves [text].
    """

    table: np.ndarray
    empty: np.ndarray
    fine: np.ndarray
    names: list[str]


def _curves(impedance: np.ndarray, transfer: np.ndarray) -> np.ndarray:
    """Levels of transfers, self terms and cross terms, shape (n_curves, n_tones) [dB]."""
    diagonal = np.arange(len(transfer))
    first, second = np.triu_indices(len(transfer), 1)
    rows = [transfer, impedance[diagonal, diagonal], impedance[first, second]]
    return np.asarray(20.0 * np.log10(np.abs(np.concatenate(rows))))


def fine_matrix(omega: np.ndarray, parts: int) -> np.ndarray:
    """Fine solution of sites and hatch, shape (n_sites + 2, n_sites + 1, n_tones) [Pa s/m3]."""
    size, box = np.array(SHUT.size), envelope_box(SHUT, ENVELOPE)
    sites = [site_port(site, ENVELOPE, box) for site in SITES.values()]
    step, _ = resolution(size, 2.0 * np.pi * 400.0 / AIR.sound_speed)
    lines = refined_lines(cabin_grid(size, box, box, step).lines, sites, parts)
    ports = [*sites, opening_port(OPEN.openings[0], OPEN, box)]
    grid = Grid(lines=lines, block=box)
    return direct_matrix(grid, ports, np.array(SHUT.microphone_at), omega, AIR, SHUT.damping)


def compare(cabin: Cabin, matrix: np.ndarray, omega: np.ndarray) -> Comparison:
    """Levels of the three models of one hatch state.

    Parameters
    ----------
    cabin : Cabin
        The hatch state [m].
    matrix : complex ndarray, shape (n_sites + 2, n_sites + 1, n_tones)
        Fine solution with the hatch as a port [Pa s/m3].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].

    Returns
    -------
    Comparison
        The levels [dB].
    """
    if cabin.openings:
        end = opening_impedance(cabin.openings[0], omega, AIR) + matrix[-2, -1]
        matrix = matrix - matrix[:, -1:] * matrix[-2:-1] / end
    fine = _curves(matrix[:-2, :-1], matrix[-1, :-1])
    sites, results = list(SITES.values()), []
    for obstacle in (True, False):
        table = cabin_table(dataclasses.replace(cabin, obstacle=obstacle), ENVELOPE, sites, omega, AIR)
        results.append(_curves(table.impedance, table.transfer))
    keys = list(SITES)
    names = [f"transfer {key}" for key in keys] + [f"self {key}" for key in keys]
    names += [f"{a} - {b}" for i, a in enumerate(keys) for b in keys[i + 1 :]]
    return Comparison(table=results[0], empty=results[1], fine=fine, names=names)


def off_notches(levels: np.ndarray) -> np.ndarray:
    """Which values are not in a notch, shape (n_curves, n_tones) [flag]."""
    return np.asarray(levels > np.median(levels, axis=1, keepdims=True) - NOTCH_DB)


def report(result: Comparison) -> list[str]:
    """Lines of a table: largest differences of each curve off notches, and anywhere [text]."""
    good = off_notches(result.fine)
    lines = ["| curve | table off notches | table anywhere | empty room off notches |", "|---|---|---|---|"]
    for row, name in enumerate(result.names):
        table, empty = (np.abs(x[row] - result.fine[row]) for x in (result.table, result.empty))
        here = good[row]
        lines.append(f"| {name} | {table[here].max():.2f} | {table.max():.2f} | {empty[here].max():.1f} |")
    return lines


def draw(matrix: np.ndarray, omega: np.ndarray, smooth: np.ndarray, path: Path) -> None:
    """Figure of transfer and self impedance of the front centre, both hatch states."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 2, figsize=(10, 7), sharex=True, layout="constrained")
    for column, cabin in enumerate((SHUT, OPEN)):
        points = compare(cabin, matrix, omega)
        sites = [SITES["front centre"]]
        for obstacle, style in ((False, "C1--"), (True, "C0-")):
            here = dataclasses.replace(cabin, obstacle=obstacle)
            table = cabin_table(here, ENVELOPE, sites, smooth, AIR)
            label = "with the enclosure" if obstacle else "empty room, reduced volume"
            for row, value in enumerate((table.transfer[0], table.impedance[0, 0])):
                axes[row, column].plot(smooth / (2 * np.pi), 20 * np.log10(np.abs(value)), style, label=label)
        for row in (0, 1):
            fine = points.fine[row * len(SITES)]
            axes[row, column].plot(omega / (2 * np.pi), fine, "k.", label="fine, direct")
            axes[row, column].grid(alpha=0.3)
        axes[0, column].set_title(cabin.name)
        axes[1, column].set_xlabel("frequency [Hz]")
    axes[0, 0].set_ylabel("front centre to microphone [dB re 1 Pa s/m3]")
    axes[1, 0].set_ylabel("self impedance of front centre [dB re 1 Pa s/m3]")
    axes[0, 0].legend()
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def main(arguments: list[str] | None = None) -> list[Comparison]:
    """Run the study, print its tables and write the figure.

    Parameters
    ----------
    arguments : list of str, optional
        Command line without the program's name [text].

    Returns
    -------
    list of Comparison
        Hatch shut, hatch open [dB].
    """
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="three frequencies on a coarser fine grid")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder of the figure")
    options = parser.parse_args(arguments)
    frequencies = np.array([80.0, 160.0, 400.0]) if options.reduced else np.arange(60.0, 401.0, 20.0)
    smooth = np.array([80.0, 160.0, 240.0, 400.0]) if options.reduced else np.arange(60.0, 400.5, 1.0)
    omega = 2.0 * np.pi * frequencies
    matrix = fine_matrix(omega, 1 if options.reduced else 2)
    results = [compare(cabin, matrix, omega) for cabin in (SHUT, OPEN)]
    for cabin, result in zip((SHUT, OPEN), results, strict=True):
        print("\n".join([f"\n{cabin.name}: largest difference from the fine solution [dB]\n", *report(result)]))
    print("\n| Hz | shut: table | shut: empty | shut: fine | open: table | open: empty | open: fine |")
    print("|---|---|---|---|---|---|---|")
    for i, hz in enumerate(frequencies):
        cells = [f"{x[0, i]:.2f}" for r in results for x in (r.table, r.empty, r.fine)]
        print(f"| {hz:.0f} | " + " | ".join(cells) + " |")
    options.out.mkdir(parents=True, exist_ok=True)
    draw(matrix, omega, 2.0 * np.pi * smooth, options.out / "cabin_obstacle.png")
    return results


if __name__ == "__main__":
    main()
