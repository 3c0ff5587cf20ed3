"""The largest permitted drive: network and level-dependent losses solved together.

Everything but the duct flows is eliminated once per design and tone. On the small system that
remains, the end resistances follow from the peak air speeds, the drive from the limit that it
meets first, and the speeds from both: a fixed point, found by a secant step per duct end on
the logarithm of its speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.elimination import Planes, add, eliminate, substitute
from models.network import Network
from models.rules import Rules

LIMIT_NAMES = ("excursion", "diaphragm", "power", "air_speed", "voltage", "current")
"""Names of the limits, in the order of every array of limits."""

TOLERANCE = 1e-10
"""Largest relative change of any air speed at which the fixed point counts as found."""

MAX_STEPS = 60
"""Steps after which a design and tone is reported as not settled."""

SECANT_STEPS = 20
"""Steps that follow the slope found; later ones are damped alike."""

LEAST_SPEED = 1e-12
"""Speed that counts as none [m/s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A batch at its drive; flat index m runs over designs and tones.

    Attributes
    ----------
    voltage : ndarray, shape (m,)
        Amplifier voltage, rms [V].
    flows : complex ndarray, shape (n_unknowns, m)
        Volume velocities, rms [m3/s].
    current : complex ndarray, shape (m,)
        Amplifier current, rms [A].
    speeds : ndarray, shape (2 n_ducts, m)
        Peak air speed at each duct end [m/s].
    loss_speeds : ndarray, shape (2 n_ducts, m)
        Peak air speeds from which the end losses were taken; :attr:`speeds` where settled [m/s].
    excursions : ndarray, shape (n_drivers, m)
        Peak excursion of each driver [m].
    diaphragm_excursions : ndarray, shape (n_diaphragms, m)
        Peak excursion of each diaphragm [m].
    permitted : ndarray, shape (6, m)
        Voltage at which each limit would be met with the losses of this state, in the order of
        :data:`LIMIT_NAMES`; infinite where there is no such limit [V].
    settled : ndarray of bool, shape (m,)
        Whether the fixed point was found [flag].
    """

    voltage: np.ndarray
    flows: np.ndarray
    current: np.ndarray
    speeds: np.ndarray
    loss_speeds: np.ndarray
    excursions: np.ndarray
    diaphragm_excursions: np.ndarray
    permitted: np.ndarray
    settled: np.ndarray


@dataclass(slots=True, kw_only=True)
class _Reduced:
    """The duct system of the designs and tones still in work, everything per flat index."""

    planes: Planes
    right: dict[int, np.ndarray]
    rows: list[tuple[int, np.ndarray, dict[int, np.ndarray], np.ndarray | None]]
    end_loss: np.ndarray
    duct_area: np.ndarray
    omega: np.ndarray
    coil: np.ndarray
    force_factor: np.ndarray
    passive_area: np.ndarray
    passive_limit: np.ndarray
    fixed: np.ndarray | None

    def keep(self, rows: np.ndarray) -> _Reduced:
        """The same for some of the flat indexes."""
        return _Reduced(
            planes={key: value[rows] for key, value in self.planes.items()},
            right={key: value[rows] for key, value in self.right.items()},
            rows=[
                (p, inverse[rows], {i: e[rows] for i, e in entries.items()}, None if s is None else s[rows])
                for p, inverse, entries, s in self.rows
            ],
            end_loss=self.end_loss[:, rows],
            duct_area=self.duct_area[:, rows],
            omega=self.omega[rows],
            coil=self.coil[rows],
            force_factor=self.force_factor[rows],
            passive_area=self.passive_area[:, rows],
            passive_limit=self.passive_limit[:, rows],
            fixed=None if self.fixed is None else self.fixed[rows],
        )


def solve_drive(
    network: Network,
    rules: Rules,
    omega: np.ndarray,
    passive_area: np.ndarray,
    passive_limit: np.ndarray,
    voltage: np.ndarray | None = None,
) -> Driven:
    """Drive every design at every tone, to its first limit or with a given voltage.

    Parameters
    ----------
    network : Network
        Assembled batch [record].
    rules : Rules
        Driver and limits [record].
    omega : ndarray, shape (n_tones,)
        Angular frequencies of the network's columns [rad/s].
    passive_area, passive_limit : ndarray, shape (n_diaphragms, n_designs)
        Areas [m2] and excursion limits of the diaphragms [m].
    voltage : ndarray, shape (n_designs, n_tones), or None
        Given amplifier voltage, rms; None seeks the largest permitted one [V].

    Returns
    -------
    Driven
        State at the drive, flattened over designs and tones [record].
    """
    shape = next(iter(network.planes.values())).shape
    flat = shape[0] * shape[1]
    planes = {key: np.ascontiguousarray(value).reshape(flat) for key, value in network.planes.items()}
    right = {key: np.ascontiguousarray(value).reshape(flat) for key, value in network.source.items()}
    rows = eliminate(planes, right, range(network.first_duct))

    def per_design(columns: np.ndarray) -> np.ndarray:
        return np.repeat(columns, shape[1], axis=-1)

    work = _Reduced(
        planes=planes,
        right=right,
        rows=rows,
        end_loss=per_design(network.end_loss),
        duct_area=per_design(network.duct_area),
        omega=np.tile(omega, shape[0]),
        coil=np.broadcast_to(network.coil, shape).reshape(flat),
        force_factor=np.broadcast_to(network.force_factor, shape).reshape(flat),
        passive_area=per_design(passive_area),
        passive_limit=per_design(passive_limit),
        fixed=None if voltage is None else np.ascontiguousarray(voltage).reshape(flat),
    )
    speeds, settled = _settle(work, network, rules, flat)
    state = _respond(work, network, rules, speeds)
    return Driven(settled=settled, loss_speeds=speeds, **state)


def _settle(work: _Reduced, network: Network, rules: Rules, flat: int) -> tuple[np.ndarray, np.ndarray]:
    """Peak speeds at the duct ends that agree with their own losses, and where they were found."""
    ends = 2 * network.duct_count
    result = np.zeros((ends, flat))
    settled = np.ones(flat, dtype=bool)
    if ends == 0 or not np.any(work.end_loss):
        return result, settled
    active = np.arange(flat)
    speeds = _respond(work, network, rules, result)["speeds"]
    old_log = old_answer = None
    for step in range(MAX_STEPS):
        answer = _respond(work, network, rules, speeds)["speeds"]
        with np.errstate(divide="ignore"):
            log, answer_log = np.log(np.maximum(speeds, LEAST_SPEED)), np.log(np.maximum(answer, LEAST_SPEED))
        change = np.max(np.abs(answer_log - log), axis=0)
        done = change < TOLERANCE
        result[:, active] = answer
        if np.all(done):
            return result, settled
        slope = np.full_like(log, -0.5)
        if old_log is not None and old_answer is not None and step < SECANT_STEPS:
            run = log - old_log
            with np.errstate(divide="ignore", invalid="ignore"):
                slope = np.where(np.abs(run) > 1e-13, (answer_log - old_answer) / run, -0.5)
            slope = np.clip(slope, -1.5, 0.6)
        next_log = log + (answer_log - log) / (1.0 - slope)
        todo = ~done
        active = active[todo]
        work = work.keep(todo)
        old_log, old_answer = log[:, todo], answer_log[:, todo]
        speeds = np.exp(next_log[:, todo])
    settled[active] = False
    return result, settled


def _respond(work: _Reduced, network: Network, rules: Rules, speeds: np.ndarray) -> dict[str, np.ndarray]:
    """Flows, drive and everything that is limited, with the end losses of given speeds."""
    first = network.first_duct
    planes, right = dict(work.planes), dict(work.right)
    for end in range(2 * network.duct_count):
        add(planes, first + end, first + end, work.end_loss[end] * speeds[end])
    flows: dict[int, np.ndarray] = {}
    substitute(eliminate(planes, right, range(first, network.size)), flows)
    substitute(work.rows, flows)
    unit = np.array([flows[i] for i in range(network.size)])
    velocity = unit[: network.driver_count] / rules.driver.area
    back = work.force_factor * velocity
    if rules.wiring == "series":
        current = (1.0 - back.sum(axis=0)) / (work.coil * network.driver_count)
    else:
        current = ((1.0 - back) / work.coil).sum(axis=0)
    peak = np.sqrt(2.0)
    excursion = peak * np.abs(velocity) / work.omega
    passive_velocity = unit[network.driver_count : first] / work.passive_area
    passive = peak * np.abs(passive_velocity) / work.omega
    speed = peak * np.abs(unit[first:]) / work.duct_area
    permitted = _permitted(work, rules, network, current, excursion, passive, speed)
    voltage = permitted.min(axis=0) if work.fixed is None else work.fixed
    return {
        "voltage": voltage,
        "flows": unit * voltage,
        "current": current * voltage,
        "speeds": speed * voltage,
        "excursions": excursion * voltage,
        "diaphragm_excursions": passive * voltage,
        "permitted": permitted,
    }


def _permitted(
    work: _Reduced,
    rules: Rules,
    network: Network,
    current: np.ndarray,
    excursion: np.ndarray,
    passive: np.ndarray,
    speed: np.ndarray,
) -> np.ndarray:
    """Voltage at which each limit is met, shape (6, m)."""
    limits = rules.limits
    permitted = np.full((len(LIMIT_NAMES), current.size), np.inf)
    with np.errstate(divide="ignore"):
        permitted[0] = limits.excursion / excursion.max(axis=0)
        if network.diaphragm_count:
            permitted[1] = (work.passive_limit / passive).min(axis=0)
        permitted[2] = np.sqrt(limits.power / _power_per_square_volt(rules, network, current))
        if limits.air_speed is not None and network.duct_count:
            permitted[3] = limits.air_speed / speed.max(axis=0)
        if limits.voltage is not None:
            permitted[4] = limits.voltage
        if limits.current is not None:
            permitted[5] = limits.current / np.abs(current)
    return permitted


def _power_per_square_volt(rules: Rules, network: Network, current: np.ndarray) -> np.ndarray:
    """Clamp reading at one volt, by the kind of clamp [W/V2]."""
    if rules.limits.power_kind == "real":
        return np.asarray(current.real)
    if rules.limits.power_kind == "apparent":
        return np.asarray(np.abs(current))
    count = network.driver_count
    nominal = rules.driver.nominal_resistance * (count if rules.wiring == "series" else 1.0 / count)
    return np.full(current.shape, 1.0 / nominal)
