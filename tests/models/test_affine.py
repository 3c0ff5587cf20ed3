"""Affine forms enclose what they stand for, everywhere in the box, and tighten with its square."""

import numpy as np
import pytest

from models.affine import Affine, log_above, log_below, reciprocal, smooth, variable

RNG = np.random.default_rng(3)


def sampled(form: Affine, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Value of a form's linear part at points of the box (-1 to 1), and its rest."""
    return form.mid[0, 0] + points @ form.slope[:, 0, 0], form.rest[0, 0]


def boxes(width: float) -> tuple[list[Affine], np.ndarray, np.ndarray]:
    """Two variables around 2 and 0.7, points of the box and the variables there."""
    low, high = np.array([2.0, 0.7]) * (1 - width), np.array([2.0, 0.7]) * (1 + width)
    forms = [variable(low[i : i + 1], high[i : i + 1], i, 2) for i in range(2)]
    points = RNG.uniform(-1, 1, (400, 2))
    points[:4] = [[-1, -1], [-1, 1], [1, -1], [1, 1]]
    return forms, points, 0.5 * (low + high) + points * 0.5 * (high - low)


def functions(a: Affine, b: Affine) -> dict[str, Affine]:
    sine = smooth(a, np.sin(a.mid), np.cos(a.mid), np.ones(a.mid.shape))
    return {
        "sum": a + b * (1.5 - 2j) + 3.0,
        "product": (a + b * 1j) * (b + a * 1j) + -0.5,
        "difference": a * b - a * b,
        "reciprocal": reciprocal(a * 1j + b),
        "sine": sine * b,
        "conjugate": (a + b * 1j).conjugate * (a + b * 1j),
        "real": (a * b * (1 + 1j)).real,
    }


def values(a: np.ndarray, b: np.ndarray) -> dict[str, np.ndarray]:
    return {
        "sum": a + b * (1.5 - 2j) + 3.0,
        "product": (a + 1j * b) * (b + 1j * a) - 0.5,
        "difference": 0.0 * a,
        "reciprocal": 1.0 / (1j * a + b),
        "sine": np.sin(a) * b,
        "conjugate": a**2 + b**2,
        "real": a * b,
    }


@pytest.mark.parametrize("width", [0.0, 1e-9, 1e-3, 0.1, 0.3])
def test_forms_enclose(width: float) -> None:
    forms, points, x = boxes(width)
    expected = values(x[:, 0], x[:, 1])
    for name, form in functions(*forms).items():
        linear, rest = sampled(form, points)
        assert np.all(np.abs(linear - expected[name]) <= rest), name
        assert np.abs(expected[name]).max() <= form.size[0, 0], name


@pytest.mark.parametrize("name", ["product", "reciprocal", "sine"])
def test_rest_falls_with_the_square_of_the_width(name: str) -> None:
    rests = [functions(*boxes(width)[0])[name].rest[0, 0] for width in (0.02, 0.01)]
    assert rests[0] / rests[1] == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize("width", [0.0, 1e-3, 0.1, 0.4])
def test_logarithms_lie_above_and_below(width: float) -> None:
    forms, points, x = boxes(width)
    form = forms[0] + forms[1] * 1j + -1.2
    truth = np.log(np.abs(x[:, 0] + 1j * x[:, 1] - 1.2))
    above, below = log_above(form), log_below(form)
    assert np.all(sampled(above, points)[0] + above.rest[0, 0] >= truth)
    assert np.all(sampled(below, points)[0] - below.rest[0, 0] <= truth)


def test_what_may_be_zero_has_no_reciprocal_and_no_lower_logarithm() -> None:
    form = variable(np.array([-1.0]), np.array([2.0]), 0, 1)
    assert np.isinf(reciprocal(form).rest[0, 0])
    assert np.isinf(log_below(form).rest[0, 0])
    above = log_above(form)
    assert (above.mid + above.reach)[0, 0] >= np.log(2.0)
