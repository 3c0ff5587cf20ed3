"""Whether the enclosure's block in the cabin matters, and whether the modal table with it is right.

Run with ``python -m studies.cabin_obstacle.study [--reduced] [--out FOLDER]``.
"""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path

import numpy as np

from models.air import Air
from models.cabin import cabin_table, opening_impedance
from models.cabin_grid import Grid
from models.cabin_modes import CabinSolver, cabin_grid, resolution
from models.cabin_places import envelope_box, opening_port, site_port
from models.envelope import Envelope, Site, front_centre
from models.spaces import Cabin, Opening
from studies.cabin_obstacle.fine import direct_matrix, missing_near_field, refined_lines

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
    table, empty, fine, solved : ndarray, shape (n_curves, n_tones)
        Transfers of the sites, then self impedances, then other impedances [dB].
    names : list of str
        Names of the curves [text].
    """

    table: np.ndarray
    empty: np.ndarray
    fine: np.ndarray
    solved: np.ndarray
    names: list[str]


def _curves(impedance: np.ndarray, transfer: np.ndarray) -> np.ndarray:
    """Levels of transfers, self terms and cross terms, shape (n_curves, n_tones) [dB]."""
    diagonal = np.arange(len(transfer))
    first, second = np.triu_indices(len(transfer), 1)
    rows = [transfer, impedance[diagonal, diagonal], impedance[first, second]]
    return np.asarray(20.0 * np.log10(np.abs(np.concatenate(rows))))


def fine_matrices(omega: np.ndarray, parts: int) -> tuple[np.ndarray, np.ndarray]:
    """Fine solution of sites and hatch, as solved and with its near field put right.

    As solved, the loss factor damps the near field too, and the fine grid still holds too little of
    it. The second result has the near field beyond the table's kept modes without damping, as in
    the table, and in full, by a yet finer static grid around each port.

    Parameters
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    parts : int
        Cells of the fine grid to one of the table's, along each axis, at least [1].

    Returns
    -------
    tuple of two complex ndarrays, shape (n_sites + 2, n_sites + 1, n_tones)
        The last column is the hatch, the last row the microphone [Pa s/m3].
    """
    size, box = np.array(SHUT.size), envelope_box(SHUT, ENVELOPE)
    sites = [site_port(site, ENVELOPE, box) for site in SITES.values()]
    ports = [*sites, opening_port(OPEN.openings[0], OPEN, box)]
    step, n_modes = resolution(size, float(omega[-1]) / AIR.sound_speed)
    solver = CabinSolver(cabin_grid(size, box, box, step), n_modes)
    grid = Grid(lines=refined_lines(solver.grid.lines, sites, parts), block=box)
    microphone = np.array(SHUT.microphone_at)
    solved = direct_matrix(grid, ports, microphone, omega, AIR, SHUT.damping)
    residual = solver.table(tuple(ports), microphone).residual
    missing = np.zeros_like(residual)
    np.fill_diagonal(missing, missing_near_field(grid, ports, solver.volume))
    more = (1.0 - 1.0 / (1.0 + 1j * SHUT.damping)) * (residual - missing) + missing
    return solved, solved + 1j * omega * AIR.density * more[:, :, None]


def compare(cabin: Cabin, matrices: tuple[np.ndarray, np.ndarray], omega: np.ndarray) -> Comparison:
    """Levels of the models of one hatch state.

    Parameters
    ----------
    cabin : Cabin
        The hatch state [m].
    matrices : tuple of two complex ndarrays, shape (n_sites + 2, n_sites + 1, n_tones)
        Fine solution with the hatch as a port: as solved, and with its near field put right [Pa s/m3].
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].

    Returns
    -------
    Comparison
        The levels [dB].
    """
    fine = []
    for matrix in matrices:
        if cabin.openings:
            end = opening_impedance(cabin.openings[0], omega, AIR) + matrix[-2, -1]
            matrix = matrix - matrix[:, -1:] * matrix[-2:-1] / end
        fine.append(_curves(matrix[:-2, :-1], matrix[-1, :-1]))
    sites, results = list(SITES.values()), []
    for obstacle in (True, False):
        table = cabin_table(dataclasses.replace(cabin, obstacle=obstacle), ENVELOPE, sites, omega, AIR)
        results.append(_curves(table.impedance, table.transfer))
    keys = list(SITES)
    names = [f"transfer {key}" for key in keys] + [f"self {key}" for key in keys]
    names += [f"{a} - {b}" for i, a in enumerate(keys) for b in keys[i + 1 :]]
    return Comparison(table=results[0], empty=results[1], fine=fine[1], solved=fine[0], names=names)


def off_notches(levels: np.ndarray) -> np.ndarray:
    """Which values are not in a notch, shape (n_curves, n_tones) [flag]."""
    return np.asarray(levels > np.median(levels, axis=1, keepdims=True) - NOTCH_DB)


def report(result: Comparison) -> list[str]:
    """Lines of a table: largest differences of each curve off notches, and anywhere [text]."""
    good = off_notches(result.fine)
    lines = [
        "| curve | table, off notches | table, anywhere | table against fine as solved | empty room |",
        "|---|---|---|---|---|",
    ]
    for row, name in enumerate(result.names):
        table, empty = (np.abs(x[row] - result.fine[row]) for x in (result.table, result.empty))
        here = good[row]
        solved = np.abs(result.table[row] - result.solved[row])[here].max()
        cells = [f"{x:.2f}" for x in (table[here].max(), table.max(), solved, empty[here].max())]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return lines


def draw(matrices: tuple[np.ndarray, np.ndarray], omega: np.ndarray, smooth: np.ndarray, path: Path) -> None:
    """Figure of transfer and self impedance of the front centre, both hatch states."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 2, figsize=(10, 7), sharex=True, layout="constrained")
    for column, cabin in enumerate((SHUT, OPEN)):
        points = compare(cabin, matrices, omega)
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
        axes[0, column].set_title(f"front centre, {cabin.name}")
        axes[1, column].set_xlabel("frequency [Hz]")
    axes[0, 0].set_ylabel("transfer to microphone [dB re 1 Pa s/m3]")
    axes[1, 0].set_ylabel("self impedance [dB re 1 Pa s/m3]")
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
    matrices = fine_matrices(omega, 1 if options.reduced else 2)
    results = [compare(cabin, matrices, omega) for cabin in (SHUT, OPEN)]
    for cabin, result in zip((SHUT, OPEN), results, strict=True):
        title = f"\n{cabin.name}: largest difference from the fine solution [dB]\n"
        print("\n".join([title, *report(result)]))
    print("\n| Hz | shut: table | shut: empty | shut: fine | open: table | open: empty | open: fine |")
    print("|---|---|---|---|---|---|---|")
    for i, hz in enumerate(frequencies):
        cells = [f"{x[0, i]:.2f}" for r in results for x in (r.table, r.empty, r.fine)]
        print(f"| {hz:.0f} | " + " | ".join(cells) + " |")
    options.out.mkdir(parents=True, exist_ok=True)
    draw(matrices, omega, 2.0 * np.pi * smooth, options.out / "cabin_obstacle.png")
    return results


if __name__ == "__main__":
    main()
