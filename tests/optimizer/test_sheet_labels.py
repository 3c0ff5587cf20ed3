"""Labels of rooms on plans: within the room, beside the driver, readable."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from optimizer.sheet_labels import POINT_MM, WIDER, place_label, text_extent

FORMS = [("ROOM A   1.031 L\n127.7 x 52.4", 7.0), ("ROOM A\n1.031 L\n127.7 x 52.4", 5.4)]


def _box(u0: float, u1: float, v0: float, v1: float) -> np.ndarray:
    return np.array([[u0, u1], [v0, v1]])


def _covered(label, box):
    extent = text_extent(label.words, label.size)
    half = 0.5 * (extent[::-1] if label.upright else extent)
    sides = np.minimum(label.place + half, box[:, 1]) - np.maximum(label.place - half, box[:, 0])
    return float(np.prod(np.maximum(sides, 0.0)) / (4.0 * np.prod(half)))


def test_an_empty_room_has_the_first_form_in_its_middle():
    label = place_label(_box(10.0, 70.0, 5.0, 45.0), [], FORMS)
    assert (label.words, label.size) == FORMS[0]
    assert not label.upright
    np.testing.assert_allclose(label.place, [40.0, 25.0])


def test_a_narrow_room_has_an_upright_label_within_its_walls():
    room = _box(0.0, 9.0, 0.0, 60.0)
    label = place_label(room, [], FORMS)
    assert label.upright
    assert _covered(label, room) == pytest.approx(1.0)


def test_a_label_gives_way_to_a_driver():
    room, driver = _box(0.0, 60.0, 0.0, 30.0), _box(15.0, 45.0, 10.0, 30.0)
    label = place_label(room, [(driver, 1.0)], FORMS)
    assert _covered(label, driver) == 0.0
    assert _covered(label, room) == pytest.approx(1.0)


def test_a_room_full_of_driver_keeps_its_label_inside_and_off_the_drivers_name():
    room, driver, name = _box(0.0, 24.0, 0.0, 44.0), _box(1.0, 24.0, 4.0, 40.0), _box(14.0, 17.0, 16.0, 29.0)
    label = place_label(room, [(name, 4.0), (driver, 1.0)], FORMS)
    assert _covered(label, room) == pytest.approx(1.0)
    assert _covered(label, name) == 0.0


def test_no_form_is_refused():
    with pytest.raises(ValueError, match="at least one form"):
        place_label(_box(0.0, 1.0, 0.0, 1.0), [], [])


@pytest.mark.parametrize(("words", "size"), FORMS)
def test_the_extent_is_that_of_the_drawn_words(words, size):
    figure = Figure(figsize=(6.0, 3.0), dpi=400)
    canvas = FigureCanvasAgg(figure)
    text = figure.text(0.5, 0.5, words, size=size, weight="bold", family="DejaVu Sans", linespacing=1.2)
    drawn = text.get_window_extent(canvas.get_renderer())
    extent = text_extent(words, size)
    scale = 72.0 * POINT_MM / 400.0
    assert extent[0] == pytest.approx(WIDER * drawn.width * scale, rel=0.05)
    assert 1.0 <= extent[1] / (drawn.height * scale) <= 1.35
