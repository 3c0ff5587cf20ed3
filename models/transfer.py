"""Complex transfer functions of one design, per volt at the amplifier, with given losses at duct ends."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.design import DesignBatch
from models.drive import solve_drive
from models.elimination import add
from models.network import Network
from models.score import Judge


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfers:
    """One design in every space; the last two axes are spaces and frequencies.

    Attributes
    ----------
    pressure : complex ndarray, shape (n_spaces, n_hz)
        At the microphone [Pa/V].
    current : complex ndarray, shape (n_spaces, n_hz)
        Of the amplifier [A/V].
    excursion : complex ndarray, shape (n_drivers, n_spaces, n_hz)
        Of each driver [m/V].
    diaphragm_excursion : complex ndarray, shape (n_diaphragms, n_spaces, n_hz)
        Of each diaphragm [m/V].
    air_speed : complex ndarray, shape (2 n_ducts, n_spaces, n_hz)
        At each duct end [m/(s V)].
    """

    pressure: np.ndarray
    current: np.ndarray
    excursion: np.ndarray
    diaphragm_excursion: np.ndarray
    air_speed: np.ndarray


def transfers(judge: Judge, batch: DesignBatch, network: Network, end_speeds: np.ndarray) -> Transfers:
    """Transfer functions at the judge's frequencies.

    Parameters
    ----------
    judge : Judge
        Season and frequencies [record].
    batch : DesignBatch
        A batch of one [record].
    network : Network
        Its network, as :meth:`models.score.Judge.network` assembles it [record].
    end_speeds : ndarray, shape (2 n_ducts, n_spaces)
        Peak air speed of a sine from which the loss of each duct end is taken [m/s].

    Returns
    -------
    Transfers
        Everything per volt [record].
    """
    count, shape = judge.tones_hz.size, (len(judge.rules.spaces), judge.tones_hz.size)
    planes = dict(network.planes)
    for end, speeds in enumerate(end_speeds):
        at = network.first_duct + end
        add(planes, at, at, (network.end_loss[end, :, None] * np.repeat(speeds, count)).astype(complex))
    linear = replace(network, planes=planes, end_loss=np.zeros_like(network.end_loss))
    area = np.array([d.area for d in batch.diaphragms]).reshape(-1, 1)
    volt = np.ones((1, judge.omega.size))
    flows = solve_drive(linear, judge.rules, judge.omega, area, np.ones_like(area), volt)
    pressure = np.zeros(judge.omega.size, dtype=complex)
    for unknown, transfer in network.transfer.items():
        pressure += transfer.reshape(-1) * flows.flows[unknown]
    moved = flows.flows / (1j * judge.omega)
    first, drivers = network.first_duct, network.driver_count
    return Transfers(
        pressure=pressure.reshape(shape),
        current=flows.current.reshape(shape),
        excursion=(moved[:drivers] / judge.rules.driver.area).reshape(-1, *shape),
        diaphragm_excursion=(moved[drivers:first] / area).reshape(-1, *shape),
        air_speed=(flows.flows[first:] / network.duct_area).reshape(-1, *shape),
    )
