"""What the compiled back end works on, as plain arrays: structure, season, sizes and results of a batch."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

UNKNOWN, SIGN, PLACE, KIND, ELEMENT, SIDE, AXIS, HIGH, YIELDS, BY_HAND = range(10)
"""Columns of a joint."""

FEW = 8
"""Modes, or columns of one point, that compiled slopes work out side by side."""


class Steps(NamedTuple):
    """A schedule as arrays.

    Attributes
    ----------
    steps : ndarray of int, shape (n_steps, 4)
        Pivot, its diagonal entry, start and end in ``others`` [1].
    others : ndarray of int, shape (n_others, 2)
        Unknown and its entry with the pivot [1].
    targets : ndarray of int, shape (n_targets,)
        Entries changed, pivot after pivot [1].
    """

    steps: np.ndarray
    others: np.ndarray
    targets: np.ndarray


class Bounds(NamedTuple):
    """Driver, wiring and limits, as numbers.

    Attributes
    ----------
    drivers, diaphragms, ducts : int
        Numbers of elements [1].
    series : bool
        Whether drivers are wired in series [flag].
    area, force_factor : float
        Of a driver [m2], [T m].
    excursion, power, air_speed, voltage, current : float
        Limits, infinite where there is none [mixed].
    kind : int
        Power as real (0), apparent (1) or nominal (2) [1].
    nominal : float
        Nominal power per square volt [1/ohm].
    losses : bool
        Whether duct ends have level-dependent losses [flag].
    """

    drivers: int
    diaphragms: int
    ducts: int
    series: bool
    area: float
    force_factor: float
    excursion: float
    power: float
    air_speed: float
    voltage: float
    current: float
    kind: int
    nominal: float
    losses: bool


class Graph(NamedTuple):
    """Structure of a batch, the same for all its designs.

    Attributes
    ----------
    joints : ndarray of int, shape (n_joints, 10)
        Ends of elements, chamber after chamber, then outside; columns as above [1].
    starts : ndarray of int, shape (n_chambers + 2,)
        First joint of each chamber, of the outside, and the number of joints [1].
    entries : ndarray of int, shape (n_unknowns, n_unknowns)
        Plane of each pair of unknowns, -1 for none [1].
    ducts : ndarray of int, shape (n_ducts, 3)
        Tubes, 1 for a slot, first plane of impedances given from outside or -1 [1].
    rooms : ndarray of int, shape (n_chambers,)
        First plane of impedances given from outside, -1 for none [1].
    outer, inner : Steps
        Schedules [record].
    kept, diagonals : ndarray of int
        Entries among duct flows, and the diagonal ones of these [1].
    planes : int
        Number of planes [1].
    bounds : Bounds
        Driver and limits [record].
    """

    joints: np.ndarray
    starts: np.ndarray
    entries: np.ndarray
    ducts: np.ndarray
    rooms: np.ndarray
    outer: Steps
    inner: Steps
    kept: np.ndarray
    diagonals: np.ndarray
    planes: int
    bounds: Bounds


class Rows(NamedTuple):
    """Where the parts of a table of systems begin, behind two rows an entry and two an unknown.

    Attributes
    ----------
    scale : int
        Square of the peak excursion or air speed per square of the flow, one an unknown [1].
    coil : int
        Admittance of one coil, real and imaginary part [1].
    fixed : int
        Square of the given voltage, where there is one [1].
    reach : int
        Inverse squares of the diaphragms' excursion limits [1].
    loss : int
        Resistances of duct ends per peak air speed [1].
    number : int
        Number of all rows [1].
    """

    scale: int
    coil: int
    fixed: int
    reach: int
    loss: int
    number: int


class Tones(NamedTuple):
    """What depends on tone and season alone.

    Attributes
    ----------
    omega : ndarray, shape (n_tones,)
        Angular frequencies [rad/s].
    spaces : int
        Number of spaces [1].
    air : ndarray, shape (5,)
        Density, sound speed, kinematic viscosity, ratio of heats, root of the Prandtl number [mixed].
    lossy, room, radiation : bool
        Wall losses, chambers as rooms, radiation [flag].
    leak : float
        Angular frequency of the chambers' leak corner [rad/s].
    driver : ndarray, shape (2, 2, n_tones)
        Impedance of a driver with and without its coupling, or of the coupling in series [Pa s/m3].
    source, coil : ndarray, shape (2, n_tones)
        Right side per volt, admittance of one coil [Pa/V], [1/ohm].
    disc, square : float
        Near-field lengths of a disc and a square over the root of their area [1].
    displaced : float
        Volume of a driver behind its face [m3].
    """

    omega: np.ndarray
    spaces: int
    air: np.ndarray
    lossy: bool
    room: bool
    radiation: bool
    leak: float
    driver: np.ndarray
    source: np.ndarray
    coil: np.ndarray
    disc: float
    square: float
    displaced: float


class Sizes(NamedTuple):
    """Columns of a batch; the last design is repeated until vectors are full.

    Attributes
    ----------
    designs : int
        How many there are [1].
    sides : ndarray, shape (n_chambers, 3, n)
        Inner sides [m].
    centre, half : ndarray, shape (n_joints, 2, n)
        Centres and half sides of patches [m].
    site : ndarray of int, shape (n_joints, n)
        Sites of mouths [1].
    ducts : ndarray, shape (n_ducts, 5, n)
        Area, area at the second end, length, height of a slot, loss factor [mixed].
    by_hand : ndarray, shape (n_joints, n)
        End corrections set by hand [m].
    diaphragms : ndarray, shape (n_diaphragms, 5, n)
        Area, mass, compliance, quality factor, excursion limit [mixed].
    given_ducts : ndarray, shape (3 n_given, 2, n_tones, n)
        Real and imaginary parts of z11, z12, z22 of ducts not uniform [Pa s/m3].
    given_rooms : ndarray, shape (n_pairs, 2, n_tones, n)
        The same of chambers that are not plain rooms, pair after pair of joints [Pa s/m3].
    voltage : ndarray, shape (n_columns, n)
        Given drive, or of no columns where the largest is sought [V].
    """

    designs: int
    sides: np.ndarray
    centre: np.ndarray
    half: np.ndarray
    site: np.ndarray
    ducts: np.ndarray
    by_hand: np.ndarray
    diaphragms: np.ndarray
    given_ducts: np.ndarray
    given_rooms: np.ndarray
    voltage: np.ndarray


class Near(NamedTuple):
    """Room in which the near field of a chamber is worked out.

    Attributes
    ----------
    even, odd : ndarray, shape (n_patches, 3, MODES, WIDTH), (n_patches, 2, MODES, WIDTH)
        Mode averages of the patches [1].
    squares : ndarray, shape (3, MODES, WIDTH)
        Squares of the wavenumbers along each axis [1/m2].
    u, v : ndarray, shape (3, MODES, WIDTH)
        Weighted products of averages along the axes of a wall [1].
    on_u, on_v : ndarray of int, shape (MODES,)
        Which of them do not vanish [1].
    table, line : ndarray, shape (3, 3, WIDTH), (3, WIDTH)
        Sums over both axes, over one [mixed].
    taken, own : ndarray, shape (n_patches, 2, n_patches, WIDTH), (n_patches, 3, WIDTH)
        What drives the odd modes of duct ends, and their own sums [mixed].
    products : ndarray, shape (3, MODES_SECOND, WIDTH)
        Weighted products of averages of two patches along each axis [1].
    active : ndarray of int, shape (3, MODES_SECOND)
        Which of them do not vanish [1].
    fourth, sixth : ndarray, shape (MODES_SECOND, MODES_SECOND, MODES_SECOND, WIDTH), and of MODES_THIRD
        Inverse powers of the modes' wavenumbers [m4], [m6].
    """

    even: np.ndarray
    odd: np.ndarray
    squares: np.ndarray
    u: np.ndarray
    v: np.ndarray
    on_u: np.ndarray
    on_v: np.ndarray
    table: np.ndarray
    line: np.ndarray
    taken: np.ndarray
    own: np.ndarray
    products: np.ndarray
    active: np.ndarray
    fourth: np.ndarray
    sixth: np.ndarray


class Room(NamedTuple):
    """Room in which the line of a chamber is worked out.

    Attributes
    ----------
    wave, waves : ndarray, shape (1, 9, WIDTH), (n_patches, 10, WIDTH)
        Waves of the line and of its patches (:mod:`models.room_kernel`) [mixed].
    x, h : ndarray, shape (n_patches, WIDTH)
        Centres and half widths along the line [m].
    rest : ndarray, shape (n_patches, WIDTH)
        Inertance of a patch's near field that the room does not hold [kg/m4].
    end : ndarray of int, shape (n_patches,)
        1 for a patch on the low end of the line, 2 on the high one, else 0 [1].
    """

    wave: np.ndarray
    waves: np.ndarray
    x: np.ndarray
    h: np.ndarray
    rest: np.ndarray
    end: np.ndarray


class Found(NamedTuple):
    """Results, written in place; columns run over spaces, then tones.

    Attributes
    ----------
    level_db, voltage : ndarray, shape (n_designs, n_columns)
        Level [dB] and drive [V].
    current : complex ndarray, shape (n_designs, n_columns)
        Amplifier current [A].
    excursion, diaphragm_excursion, air_speed : ndarray, shape (n_designs, n_columns, n_elements)
        Peak values [m], [m/s].
    permitted : ndarray, shape (n_designs, n_columns, 6)
        Voltages of the limits [V].
    settled : ndarray of bool, shape (n_designs, n_columns)
        Whether the fixed point was found [flag].
    """

    level_db: np.ndarray
    voltage: np.ndarray
    current: np.ndarray
    excursion: np.ndarray
    diaphragm_excursion: np.ndarray
    air_speed: np.ndarray
    permitted: np.ndarray
    settled: np.ndarray
