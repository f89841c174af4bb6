import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setstone.annotate.placing import tag_places

shapely = pytest.importorskip("shapely", reason="shapely comes with rapidocr")

SIZE = (1200, 900)
T = np.linspace(0, 2 * np.pi, 90, endpoint=False)
OVAL = np.column_stack((620 + 380 * np.cos(T), 440 + 300 * np.sin(T)))

inside = st.tuples(st.floats(300.0, 900.0), st.floats(200.0, 700.0))


@settings(max_examples=60, deadline=None)
@given(st.lists(inside, min_size=1, max_size=25))
def test_tags_stand_apart_inside_the_picture_and_outside_the_stone(marks: list[tuple[float, float]]) -> None:
    places = tag_places(np.array(marks), outline=OVAL, size=SIZE, margin=40.0, spacing=50.0)
    assert (places >= 39.9).all()
    assert (places <= np.array(SIZE) - 40.9).all()
    beyond = np.hypot((places[:, 0] - 620) / 380, (places[:, 1] - 440) / 300)
    assert (beyond > 1).all()
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) + 1e3 * np.eye(len(places))
    # spaced along the ring, whose bends bring neighbours a little nearer than its length does
    assert apart.min() > 0.9 * 50.0


@settings(max_examples=60, deadline=None)
@given(st.lists(inside, min_size=2, max_size=15, unique=True))
def test_joining_lines_do_not_cross(marks: list[tuple[float, float]]) -> None:
    places = tag_places(np.array(marks), outline=OVAL, size=SIZE, margin=40.0, spacing=50.0)
    lines = [shapely.LineString(pair) for pair in zip(marks, places.tolist(), strict=True)]
    for i, line in enumerate(lines):
        assert not any(line.crosses(other) for other in lines[i + 1 :])


def test_a_lone_tag_stands_straight_out_from_its_flaw() -> None:
    (place,) = tag_places(np.array([[800.0, 440.0]]), outline=OVAL, size=SIZE, margin=40.0, spacing=50.0)
    assert place == pytest.approx([620 + 380 + 40, 440], abs=1.0)


def test_a_crowd_shares_what_room_there_is() -> None:
    marks = np.random.default_rng(3).uniform((300, 200), (900, 700), (200, 2))
    places = tag_places(marks, outline=OVAL, size=SIZE, margin=40.0, spacing=50.0)
    assert len(np.unique(places.round(3), axis=0)) == 200


def test_without_a_girdle_tags_stand_along_the_rim() -> None:
    places = tag_places(np.array([[600.0, 100.0]]), outline=None, size=SIZE, margin=40.0, spacing=50.0)
    assert places[0, 1] == pytest.approx(40.0)


def test_a_stone_larger_than_the_picture_keeps_its_tags_in_the_picture() -> None:
    places = tag_places(
        np.array([[600.0, 100.0]]), outline=OVAL * 3 - 900, size=SIZE, margin=40.0, spacing=50.0
    )
    assert (places >= 39.9).all()
    assert (places <= np.array(SIZE) - 40.9).all()


def test_nothing_to_place() -> None:
    assert tag_places(np.empty((0, 2)), outline=OVAL, size=SIZE, margin=40.0, spacing=50.0).shape == (0, 2)
