"""Numbers as JSON can hold them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np


def number(value: float | np.floating[Any]) -> float | None:
    """A float that JSON can hold, or None where it is not finite."""
    return float(value) if math.isfinite(value) else None
