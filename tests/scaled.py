"""Designs and rules with all lengths over n and all frequencies times n."""

from __future__ import annotations

from models.design import DesignBatch
from models.rules import Rules
from models.scaling import enlarged_batch, enlarged_rules


def scaled_batch(batch: DesignBatch, n: float) -> DesignBatch:
    """Designs with all lengths over n."""
    return enlarged_batch(batch, 1.0 / n)


def scaled_rules(full: Rules, n: float) -> Rules:
    """Rules with all lengths over n and frequencies times n: driver, envelope, limits, tones, spaces."""
    return enlarged_rules(full, 1.0 / n)
