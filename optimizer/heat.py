"""What warm-up takes from a design's levels: data beside the cold ones, and sentences."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.design import DesignBatch
from models.heating import warm_up
from models.rules import Rules
from models.score import Judge
from optimizer.plain import number

ABOVE_CEILING = 1.001
"""Factor on the power limit from which a hot coil's reading is spoken of."""


def heat_record(judge: Judge, design: DesignBatch, voltage: np.ndarray) -> dict[str, Any]:
    """Hot score of a design, and of each space and tone, to be merged into its evaluation.

    Parameters
    ----------
    judge : Judge
        The season's rules and the tones [record].
    design : DesignBatch
        A batch of one [record].
    voltage : ndarray, shape (1, n_spaces, n_tones)
        Drive of its cold coil, rms [V].

    Returns
    -------
    dict
        What goes beside the cold values: ``design``, ``means`` of spaces, ``tones`` of spaces [mixed].
    """
    warm = warm_up(judge, design, voltage)
    found = warm.responses
    power = (found.voltage * np.conj(found.current))[0].real
    means = judge.space_means(found)[0]
    score = float(judge.scores(found)[0])
    return {
        "design": {
            "hot_score_db": number(score),
            "heat": _sentences(judge.rules, score, warm.temperature_c, power)
            + ([] if warm.settled else ["Temperature and drive did not agree within the tolerance."]),
        },
        "means": [{"hot_mean_db": number(mean)} for mean in means],
        "tones": [
            [
                {
                    "hot_level_db": number(found.level_db[0, place, tone]),
                    "hot_real_power_w": number(power[place, tone]),
                    "coil_temperature_c": number(warm.temperature_c[place, tone]),
                }
                for tone in range(power.shape[1])
            ]
            for place in range(power.shape[0])
        ],
    }


def _sentences(rules: Rules, score: float, temperature_c: np.ndarray, power: np.ndarray) -> list[str]:
    driver = rules.driver
    sentences = [
        f"After warm-up, each tone held at the cold coil's drive, the score is {score:.2f} dB; the coil "
        f"reaches up to {temperature_c.max():.0f} degC."
    ]
    most = driver.coil_temperature_max_c
    if most is not None and temperature_c.max() > most:
        count, of = int((temperature_c > most).sum()), temperature_c.size
        sentences.append(
            f"At {count} of {of} tones the coil would pass the {most:g} degC that it bears, and fail before "
            "it is steady: play these in short bursts only."
        )
    over = power.max() / rules.limits.power
    if rules.limits.power_kind == "real" and over > ABOVE_CEILING:
        sentences.append(
            f"The hot coil draws up to {power.max():.2f} W, {100.0 * (over - 1.0):.1f} % above "
            "the power limit."
        )
    return sentences
