"""From a batch of designs to levels and scores: spaces and tones side by side, in chunks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from models.air import Air
from models.backend import choose_backend
from models.cabin import cabin_table
from models.design import DesignBatch
from models.drive import Driven, solve_drive
from models.envelope import Site
from models.linear_drive import Linear
from models.linear_layout import make_layout, make_medium
from models.linearised import linearised
from models.network import Network, assemble
from models.outside import OutsideTable, side_by_side
from models.radiation import half_space_table
from models.rules import Rules
from models.spaces import HalfSpace
from models.structure import make_graph, structure_key

REFERENCE_PRESSURE = 20e-6
"""Reference of sound pressure level, rms [Pa]."""

REACH = 2.0
"""A cabin is modelled up to so many times the highest tone, whatever is asked for below."""

CHUNK_ENTRIES = 2048
"""Designs times tones that are worked on at once, so that the planes stay in the cache."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Responses:
    """A batch driven in every space; columns run over spaces, then tones.

    Attributes
    ----------
    level_db : ndarray, shape (n_designs, n_spaces, n_tones)
        Level at the microphone, rms re 20 uPa [dB].
    voltage : ndarray, shape (n_designs, n_spaces, n_tones)
        Amplifier voltage, rms [V].
    current : complex ndarray, shape (n_designs, n_spaces, n_tones)
        Amplifier current, rms [A].
    excursion : ndarray, shape (n_designs, n_spaces, n_tones, n_drivers)
        Peak excursion [m].
    diaphragm_excursion : ndarray, shape (n_designs, n_spaces, n_tones, n_diaphragms)
        Peak excursion [m].
    air_speed : ndarray, shape (n_designs, n_spaces, n_tones, n_ducts)
        Peak air speed, the larger of both ends [m/s].
    permitted : ndarray, shape (n_designs, n_spaces, n_tones, 6)
        Voltage at which each limit of :data:`models.drive.LIMIT_NAMES` is met [V].
    settled : ndarray of bool, shape (n_designs, n_spaces, n_tones)
        Whether drive and losses agree within the tolerance [flag].
    """

    level_db: np.ndarray
    voltage: np.ndarray
    current: np.ndarray
    excursion: np.ndarray
    diaphragm_excursion: np.ndarray
    air_speed: np.ndarray
    permitted: np.ndarray
    settled: np.ndarray

    @property
    def impedance(self) -> np.ndarray:
        """Impedance that the amplifier meets, complex, shape (n_designs, n_spaces, n_tones) [ohm]."""
        return np.asarray(self.voltage / self.current)

    @property
    def limit(self) -> np.ndarray:
        """Index of the limit that stops the drive, shape (n_designs, n_spaces, n_tones)."""
        return np.asarray(np.argmin(self.permitted, axis=-1))


def mean_level(level_db: np.ndarray, weights: np.ndarray, mean: str) -> np.ndarray:
    """Average over the last axis.

    Parameters
    ----------
    level_db : ndarray, shape (..., n_tones)
        Levels [dB].
    weights : ndarray, shape (n_tones,)
        Weights of the tones [1].
    mean : str
        ``level``, ``energy`` or ``worst`` [text].

    Returns
    -------
    ndarray, shape (...)
        Average [dB].
    """
    share = weights / weights.sum()
    if mean == "worst":
        return np.asarray(level_db[..., weights > 0].min(axis=-1))
    if mean == "energy":
        return np.asarray(10.0 * np.log10((10.0 ** (level_db / 10.0) * share).sum(axis=-1)))
    return np.asarray((level_db * share).sum(axis=-1))


class Judge:
    """Evaluates batches of designs under one season's rules.

    Parameters
    ----------
    rules : Rules
        The season's rules [record].
    tones_hz : ndarray, shape (n_tones,), or None
        Frequencies instead of the season's tones [Hz].
    backend : str or None
        ``compiled`` or ``numpy``; None as :func:`models.backend.choose_backend` chooses [text].
    """

    def __init__(self, rules: Rules, tones_hz: np.ndarray | None = None, backend: str | None = None) -> None:
        self.rules = rules
        self.backend = choose_backend(backend)
        self.tones_hz = rules.tones_hz if tones_hz is None else np.asarray(tones_hz, dtype=float)
        tones = 2.0 * np.pi * self.tones_hz
        self.omega = np.tile(tones, len(rules.spaces))
        self._tables: dict[tuple[Site, ...], OutsideTable] = {}
        self._latest: tuple[Sequence[Site], OutsideTable] | None = None
        self._structures: dict[Any, Any] = {}
        self._layouts: dict[Any, Any] = {}
        self._airs: dict[Air, Judge] = {}

    def with_rules(self, rules: Rules) -> Judge:
        """An evaluator under other rules, for the same tones and spaces, with the same outside tables."""
        other = Judge(rules, self.tones_hz, self.backend)
        other._tables = self._tables
        return other

    def in_air(self, air: Air) -> Judge:
        """The same evaluator in another air, made once, its drivers' parts moving with the same mass."""
        if air not in self._airs:
            driver, load = self.rules.driver, self.rules.driver.air_load(air)
            heavier = load - driver.air_load(self.rules.air) if self.rules.physics.radiation else 0.0
            driver = replace(driver, mass=driver.mass + heavier)
            rules = replace(self.rules, air=air, driver=driver)
            self._airs[air] = Judge(rules, self.tones_hz, self.backend)
        return self._airs[air]

    def with_backend(self, backend: str) -> Judge:
        """The same evaluator on another back end; tables of the outside are shared."""
        other = Judge(self.rules, self.tones_hz, backend)
        other._tables = self._tables
        return other

    def outside(self, sites: Sequence[Site]) -> OutsideTable:
        """Outside table of a tuple of sites over all spaces and tones, made once."""
        if self._latest is None or self._latest[0] is not sites:  # hundreds of sites are slow to hash
            key = tuple(sites)
            if key not in self._tables:
                self._tables[key] = self._make_table(key)
            self._latest = key, self._tables[key]
        return self._latest[1]

    def respond(self, batch: DesignBatch, voltage: np.ndarray | float | None = None) -> Responses:
        """Drive a batch as the season asks, or with a given voltage.

        Parameters
        ----------
        batch : DesignBatch
            Designs of one topology [record].
        voltage : ndarray, shape (n_designs, n_spaces, n_tones), float or None
            Amplifier voltage, rms; None seeks the largest permitted drive [V].

        Returns
        -------
        Responses
            Levels and everything that is limited [record].
        """
        rules = self.rules
        if voltage is None and rules.drive != "per_tone":
            first = self._respond(batch, None)
            axes = (1, 2) if rules.drive == "common" else (2,)
            lowest = first.voltage.min(axis=axes, keepdims=True)
            voltage = np.broadcast_to(lowest, first.voltage.shape)
        if voltage is not None:
            shape = (batch.size, len(rules.spaces), self.tones_hz.size)
            voltage = np.broadcast_to(np.asarray(voltage, dtype=float), shape).reshape(batch.size, -1)
        return self._respond(batch, voltage)

    def linearise(self, batch: DesignBatch, voltage: np.ndarray) -> Linear:
        """Levels and permitted drives at given voltages, with exact slopes over all variables.

        Parameters
        ----------
        batch : DesignBatch
            Designs of :func:`models.complex_step.stepped` variables [record].
        voltage : ndarray, shape (n_points, n_spaces * n_tones)
            Amplifier voltage, rms [V].

        Returns
        -------
        Linear
            Values and slopes; levels re 20 uPa [record].
        """
        key = structure_key(batch)
        if key not in self._layouts:
            layout = make_layout(batch, self.rules)
            self._layouts[key] = layout, make_medium(self.rules, 2.0 * np.pi * self.tones_hz, layout), {}
        table = self.outside(batch.sites)
        layout, medium, known = self._layouts[key]
        found = linearised(batch, voltage, self.rules, layout, medium, table, known, self.backend)
        return found._replace(level=found.level - 20.0 * np.log10(REFERENCE_PRESSURE))

    def scores(self, responses: Responses) -> np.ndarray:
        """Weighted mean over spaces of the mean over tones, shape (n_designs,) [dB]."""
        per_space = self.space_means(responses)
        weights = np.array([space.weight for space in self.rules.spaces])
        return np.asarray((per_space * weights).sum(axis=1) / weights.sum())

    def space_means(self, responses: Responses) -> np.ndarray:
        """Mean over tones in each space, shape (n_designs, n_spaces) [dB]."""
        weights = self.rules.tone_weights
        if weights.size != self.tones_hz.size:
            weights = np.ones(self.tones_hz.size)
        return mean_level(responses.level_db, weights, self.rules.mean)

    def network(self, batch: DesignBatch) -> Network:
        """The assembled network of a batch, one column a space and tone."""
        return assemble(batch, self.rules, self.outside(batch.sites), self.omega)

    def _make_table(self, sites: tuple[Site, ...]) -> OutsideTable:
        rules = self.rules
        place = (rules.envelope, sites, 2.0 * np.pi * self.tones_hz, rules.air)
        radiation, reach = rules.physics.radiation, REACH * 2.0 * np.pi * float(rules.tones_hz.max())
        tables = [
            half_space_table(space, *place, radiation=radiation)
            if isinstance(space, HalfSpace)
            else cabin_table(space, *place, radiation=radiation, reach=reach)
            for space in rules.spaces
        ]
        return side_by_side(tables)

    def _respond(self, batch: DesignBatch, voltage: np.ndarray | None) -> Responses:
        if self.backend == "compiled" and batch.specimens is None:
            return self._respond_compiled(batch, voltage)
        step = max(1, CHUNK_ENTRIES // self.omega.size)
        parts = []
        for start in range(0, max(batch.size, 1), step):
            rows = slice(start, start + step)
            parts.append(self._chunk(batch.rows(rows), None if voltage is None else voltage[rows]))
        return Responses(
            **{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Responses)}
        )

    def _respond_compiled(self, batch: DesignBatch, voltage: np.ndarray | None) -> Responses:
        from models import packing  # compiled code, which needs numba

        key = structure_key(batch)
        if key not in self._structures:
            tones = 2.0 * np.pi * self.tones_hz
            self._structures[key] = (
                make_graph(batch, self.rules),
                packing.make_tones(self.rules, tones, len(batch.driver_ends)),
            )
        graph, tones = self._structures[key]
        sizes = packing.make_sizes(batch, self.rules, tones.omega, graph, voltage)
        found = packing.respond(graph, tones, sizes, self.outside(batch.sites))
        shape = (batch.size, len(self.rules.spaces), self.tones_hz.size)
        return Responses(
            **{name: value.reshape(*shape, *value.shape[2:]) for name, value in found._asdict().items()}
        )

    def _chunk(self, batch: DesignBatch, voltage: np.ndarray | None) -> Responses:
        network = self.network(batch)
        area = np.array([d.area for d in batch.diaphragms]).reshape(-1, batch.size)
        limit = np.array([d.excursion_limit for d in batch.diaphragms]).reshape(-1, batch.size)
        driven = solve_drive(network, self.rules, self.omega, area, limit, voltage)
        return self._responses(batch, network, driven)

    def _responses(self, batch: DesignBatch, network: Network, driven: Driven) -> Responses:
        shape = (batch.size, len(self.rules.spaces), self.tones_hz.size)
        pressure = np.zeros(shape, dtype=complex)
        for unknown, transfer in network.transfer.items():
            pressure += (transfer * driven.flows[unknown].reshape(transfer.shape)).reshape(shape)
        with np.errstate(divide="ignore"):
            level = 20.0 * np.log10(np.abs(pressure) / REFERENCE_PRESSURE)
        ends = driven.speeds.reshape(-1, 2, driven.voltage.size)

        def by_element(values: np.ndarray) -> np.ndarray:
            return np.moveaxis(values, 0, -1).reshape(*shape, values.shape[0])

        return Responses(
            level_db=level,
            voltage=driven.voltage.reshape(shape),
            current=driven.current.reshape(shape),
            excursion=by_element(driven.excursions),
            diaphragm_excursion=by_element(driven.diaphragm_excursions),
            air_speed=by_element(ends.max(axis=1)),
            permitted=by_element(driven.permitted),
            settled=driven.settled.reshape(shape),
        )
