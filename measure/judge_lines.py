"""Judge each line with both lamps and the geometry: which may be fissures, and why not the others."""

from setstone.measure.candidates import Candidate
from setstone.measure.light import encoded_plane
from setstone.measure.lines import find_lines
from setstone.measure.scene import Scene


def judge_lines(scene: Scene) -> tuple[Candidate, ...]:
    """Find the lines of a stone and score each."""
    lamp = "white" if scene.blue is None else "blue"
    pixels = scene.white if scene.blue is None else scene.blue
    assert pixels is not None
    um = scene.um_per_px or 4.0
    found = find_lines(encoded_plane(pixels, (0.0, 0.0, 1.0)), um_per_px=um, mask=scene.stone)
    return tuple(
        Candidate("line", line.path, "blue" if lamp == "blue" else "white", 0.1, (), float(line.contrast.mean()), {})
        for line in found
    )
