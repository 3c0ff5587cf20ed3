"""Where the electrical power goes: coil, mechanics, ducts, chamber walls, outside."""

from __future__ import annotations

import numpy as np

from models.design import DesignBatch
from models.drive import Driven
from models.elimination import Planes
from models.network import Network
from models.rules import Rules


def power_balance(
    batch: DesignBatch, rules: Rules, network: Network, driven: Driven, omega: np.ndarray
) -> dict[str, np.ndarray]:
    """Mean powers of a driven batch, by where they go.

    Every part comes from its own elements, none as the remainder of the others: the coil from the
    current in each coil, the mechanics from each cone's velocity, the rest from the real part of
    the matrix of that part, Re sum conj(q_i) Z_ij q_j of rms flows. All but ``electrical``
    add up to ``electrical``.

    Parameters
    ----------
    batch : DesignBatch
        Designs of one topology [record].
    rules : Rules
        Driver and wiring [record].
    network : Network
        Assembled batch [record].
    driven : Driven
        Its state at some drive [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies of the network's columns [rad/s].

    Returns
    -------
    dict of str to ndarray, shape (m,)
        ``electrical`` (what the amplifier gives), ``coil``, ``mechanical`` (driver suspensions),
        ``diaphragm`` (their suspensions), ``duct`` (viscous and thermal), ``duct_ends``
        (level-dependent), ``chamber`` (walls and leakage) and ``outside`` (radiated, and what a
        cabin takes) [W].
    """
    driver = rules.driver
    count = network.driver_count
    velocity = driven.flows[:count] / driver.area
    shape = (batch.size, omega.size)
    coil = np.broadcast_to(network.coil, shape).reshape(-1)
    force_factor = np.broadcast_to(network.force_factor, shape).reshape(-1)
    if rules.wiring == "series":
        currents = np.broadcast_to(driven.current, velocity.shape)
    else:
        currents = (driven.voltage - force_factor * velocity) / coil
    resistance = np.tile(driver.mechanical_impedance(omega).real, batch.size)
    ends = np.repeat(network.end_loss, omega.size, axis=1) * driven.loss_speeds
    return {
        "electrical": np.asarray(driven.voltage * driven.current.real),
        "coil": np.asarray(coil.real * (np.abs(currents) ** 2).sum(axis=0)),
        "mechanical": np.asarray(resistance * (np.abs(velocity) ** 2).sum(axis=0)),
        "diaphragm": _taken(network.parts["diaphragm"], driven, batch.size, omega.size),
        "duct": _taken(network.parts["duct"], driven, batch.size, omega.size),
        "duct_ends": np.asarray((ends * np.abs(driven.flows[network.first_duct :]) ** 2).sum(axis=0)),
        "chamber": _taken(network.parts["chamber"], driven, batch.size, omega.size),
        "outside": _taken(network.parts["outside"], driven, batch.size, omega.size),
    }


def _taken(planes: Planes, driven: Driven, designs: int, tones: int) -> np.ndarray:
    """Mean power that one part of the impedance matrix takes, shape (m,) [W]."""
    total = np.zeros(designs * tones)
    for (i, j), value in planes.items():
        resistance = np.broadcast_to(np.real(value), (designs, tones)).reshape(-1)
        product = (np.conj(driven.flows[i]) * driven.flows[j]).real
        total += resistance * product * (1.0 if i == j else 2.0)
    return total
