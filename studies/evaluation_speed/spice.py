"""One circuit simulation a design: a lumped vented box at four tones in ngspice."""

from __future__ import annotations

import math
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from models.rules import Rules

_TONES = "ac lin 4 112 248"


def netlist(rules: Rules, volume: float, area: float, length: float) -> str:
    """Circuit of a lumped vented box on its driver: pressures are voltages, flows currents."""
    driver, air = rules.driver, rules.air
    compliance = volume / air.bulk_modulus
    motional = driver.force_factor / driver.area
    lines = [
        "* vented box",
        "ve e0 0 dc 0 ac 1",
        f"re e0 e1 {driver.coil_resistance!r}",
        f"le e1 e2 {max(driver.coil_inductance, 1e-9)!r}",
        f"hb e2 0 vd {motional!r}",
        f"hf a0 0 ve {-motional!r}",
        f"lm a0 a1 {driver.mass / driver.area**2!r}",
        f"rm a1 a2 {driver.resistance_mechanical / driver.area**2!r}",
        f"cm a2 a3 {driver.compliance * driver.area**2!r}",
        "vd a3 box dc 0",
        f"cb box 0 {compliance!r}",
        f"lp box p {air.density * length / area!r}",
        f"rp p 0 {0.01 * math.sqrt(air.density * air.bulk_modulus) / area!r}",
    ]
    return "\n".join([*lines, ".control", _TONES, "print vm(box)", "quit", ".endc", ".end", ""])


def seconds_a_design(rules: Rules, repeats: int) -> float | None:
    """Median wall time of one run of ngspice, None where it is not installed [s]."""
    if shutil.which("ngspice") is None:
        return None
    times = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "box.cir"
        for run in range(repeats):
            path.write_text(netlist(rules, 1e-3 * (2.0 + 0.1 * run), 1e-3, 0.1))
            start = time.perf_counter()
            done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=True)
            times.append(time.perf_counter() - start)
            if "vm(box)" not in done.stdout:
                raise RuntimeError(f"ngspice gave no voltages: {done.stdout[-300:]}")
    return sorted(times)[len(times) // 2]
