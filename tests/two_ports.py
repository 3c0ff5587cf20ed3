"""Lines, cones and exponential horns as chain matrices in closed form, and circuits solved by node pressures.

Written apart from the program: it joins open-circuit impedances by flows, this admittances by pressures.
Chain matrices: p1 = A p2 + B q2, q1 = C p2 + D q2. No losses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.air import Air
from models.driver import Driver

Chain = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def line(omega: np.ndarray, air: Air, area: float, length: float) -> Chain:
    """Uniform line."""
    k, z = omega / air.sound_speed, air.density * air.sound_speed / area
    sin, cos = np.sin(k * length), np.cos(k * length)
    return cos, 1j * z * sin, 1j * sin / z, cos


def cone(omega: np.ndarray, air: Air, area: float, area_end: float, length: float) -> Chain:
    """Cone between two different sections, by distances from its apex."""
    k = omega / air.sound_speed
    x1 = length / (np.sqrt(area_end / area) - 1.0)
    x2 = x1 + length
    z = air.density * air.sound_speed / np.sqrt(area * area_end)
    sin, cos = np.sin(k * length), np.cos(k * length)
    a = x2 / x1 * cos - sin / (k * x1)
    c = 1j / z * ((1.0 + 1.0 / (k**2 * x1 * x2)) * sin - (1.0 / x1 - 1.0 / x2) * cos / k)
    return a, 1j * z * sin, c, x1 / x2 * cos + sin / (k * x2)


def exponential(omega: np.ndarray, air: Air, area: float, area_end: float, length: float) -> Chain:
    """Exponential horn S = S1 e^{mx} from its two waves e^{-(m/2 +- j b)x}, b = sqrt(k^2 - m^2/4)."""
    k, m = omega / air.sound_speed, np.log(area_end / area) / length
    b = np.sqrt(k**2 - 0.25 * m**2 + 0j)
    roots = np.stack([-0.5 * m - 1j * b, -0.5 * m + 1j * b])
    # pressure and flow of each wave at both ends: q = -S p'/(j w rho)
    flow = -roots / (1j * omega * air.density)
    start = np.array([np.ones_like(roots), area * flow])
    end = np.array([np.ones_like(roots), area_end * flow]) * np.exp(roots * length)
    chain = np.moveaxis(start, -1, 0) @ np.linalg.inv(np.moveaxis(end, -1, 0))
    return chain[:, 0, 0], chain[:, 0, 1], chain[:, 1, 0], chain[:, 1, 1]


def scattering(chain: Chain, z1: np.ndarray | float, z2: np.ndarray | float) -> np.ndarray:
    """Reflection at the first port, transmission, reflection at the second, between real impedances."""
    a, b, c, d = chain
    whole = a * z2 + b + c * z1 * z2 + d * z1
    first, second = a * z2 + b - c * z1 * z2 - d * z1, -a * z2 + b - c * z1 * z2 + d * z1
    return np.array([first / whole, 2.0 * np.sqrt(z1 * z2) / whole, second / whole])


@dataclass(frozen=True, slots=True)
class Link:
    """A duct between two nodes; node -1 is the outside, where the pressure is zero."""

    start: int
    end: int
    chain: Chain


def cone_flow(
    omega: np.ndarray,
    air: Air,
    driver: Driver,
    places: tuple[int, int],
    volumes: list[float],
    links: list[Link],
) -> tuple[np.ndarray, list[tuple[np.ndarray, np.ndarray]]]:
    """Flow of the cone out of its front per volt, and the flows into and out of every duct.

    Unknowns are the chambers' pressures and the cone's flow.
    """
    count = len(volumes)
    matrix = np.zeros((omega.size, count + 1, count + 1), dtype=complex)
    for node, volume in enumerate(volumes):
        matrix[:, node, node] += 1j * omega * volume / (air.density * air.sound_speed**2)
    for link in links:
        a, b, _, d = link.chain
        own = {link.start: d / b, link.end: a / b}
        for node, admittance in own.items():
            if node >= 0:
                matrix[:, node, node] += admittance
        if link.start >= 0 and link.end >= 0:
            matrix[:, link.start, link.end] -= 1.0 / b
            matrix[:, link.end, link.start] -= 1.0 / b
    coil = driver.coil_resistance + 1j * omega * driver.coil_inductance
    mechanical = (
        1j * omega * driver.mass + driver.resistance_mechanical + 1.0 / (1j * omega * driver.compliance)
    )
    matrix[:, count, count] = (mechanical + driver.force_factor**2 / coil) / driver.area**2
    for node, sign in zip(places, (1.0, -1.0), strict=True):
        if node >= 0:
            matrix[:, node, count] -= sign  # the front's flow goes into its chamber
            matrix[:, count, node] += sign
    right = np.zeros((omega.size, count + 1, 1), dtype=complex)
    right[:, count, 0] = driver.force_factor / coil / driver.area
    found = np.linalg.solve(matrix, right)[..., 0]

    def pressure(node: int) -> np.ndarray:
        return found[:, node] if node >= 0 else np.zeros(omega.size, dtype=complex)

    flows = []
    for link in links:
        a, b, _, d = link.chain
        one, two = pressure(link.start), pressure(link.end)
        flows.append(((d * one - two) / b, (one - a * two) / b))
    return found[:, count], flows
