"""Speed of the path writer against a format template a copy, in one process; with its ugly twins."""

import time

import numpy as np

from friezewright.geometry import affine, cubic
from friezewright.geometry.artwork import Artwork, Placements
from friezewright.geometry.outline import Outline, circle, concatenate
from friezewright.output.pathdata import path_lines

COPIES = 4000


def motif() -> Outline:
    """Five loops of twelve cubics."""
    sizes = (1.8, 1.5, 1.2, 0.9, 0.6)
    return concatenate(
        [
            circle((0.0, 0.0), size) if i % 2 == 0 else circle((0.0, 0.0), size).reversed()
            for i, size in enumerate(sizes)
        ]
    )


def maps(count: int) -> np.ndarray:
    steps = np.arange(count)
    turned = affine.rotation(steps * 0.37)
    return affine.compose(
        affine.translation(np.stack([10 + steps % 200 * 4.3, 10 + steps // 200 * 4.2], axis=1)), turned
    )


def placed(shapes: tuple[Outline, ...], index: np.ndarray, matrix: np.ndarray) -> Artwork[Outline]:
    return Artwork(shapes, Placements(matrix=matrix, shape=index, member=np.zeros(len(index), int)))


def best(work, rounds=3) -> float:
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def template_seconds_a_copy(shape: Outline) -> float:
    """Seconds of one format operation a copy: the fastest way that writes number by number, placing included."""
    text = '<path d="'
    chosen = []
    for loop in shape.loops():
        text += "M%.3f %.3f" + "C%.3f %.3f %.3f %.3f %.3f %.3f" * (loop.stop - loop.start) + "Z"
        chosen += [4 * loop.start, *(4 * i + j for i in range(loop.start, loop.stop) for j in (1, 2, 3))]
    text += '"/>\n'

    def written() -> list[str]:
        images = affine.apply(maps(200), shape.segments.reshape(-1, 2))[:, chosen]
        return [text % tuple(image.ravel().tolist()) for image in images]

    return best(written) / 200


def seconds_a_number(artwork: Artwork[Outline]) -> tuple[float, int]:
    numbers = 6 * sum(len(artwork.shapes[shape].segments) for shape in artwork.placements.shape.tolist())
    size = sum(len(block) for block in path_lines(artwork))
    return best(lambda: [len(block) for block in path_lines(artwork)]) / numbers, size


def test_the_writer_outruns_a_template_three_times():
    shape = motif()
    template = template_seconds_a_copy(shape)
    each, size = seconds_a_number(placed((shape,), np.zeros(COPIES, int), maps(COPIES)))
    bulk = each * 6 * len(shape.segments)
    print(
        f"\n{each * 1e9:.0f} ns a number, {size / COPIES / bulk / 1e6:.0f} MB/s, {template / bulk:.1f} times a template"
    )
    print(f"100,000 copies of 60 cubics: {bulk * 1e5:.1f} s")
    assert template > 3.0 * bulk


def test_shapes_placed_once_cost_little_more():
    shape = motif()
    plain, _ = seconds_a_number(placed((shape,), np.zeros(COPIES, int), maps(COPIES)))
    shapes = tuple(shape.transformed(matrix) for matrix in maps(COPIES))
    once, _ = seconds_a_number(placed(shapes, np.arange(COPIES), affine.identity(COPIES)))
    print(f"\nshapes placed once: {once / plain:.2f} times")
    assert once < 6.0 * plain


def test_negative_wide_and_coincident_coordinates_cost_little_more():
    shape = motif()
    plain, _ = seconds_a_number(placed((shape,), np.zeros(COPIES, int), maps(COPIES)))
    far = affine.compose(affine.translation((-400.0, 1500.0)), maps(COPIES))
    wide, _ = seconds_a_number(placed((shape,), np.zeros(COPIES, int), far))
    points = np.repeat(shape.segments[:, :1, :], 4, axis=1)
    still = Outline(
        np.concatenate([np.concatenate([points[loop], shape.segments[loop]]) for loop in shape.loops()]),
        np.zeros(2 * len(points), dtype=bool),
        2 * shape.loop_start,
    )
    assert cubic.signed_area(still.segments[:24]) > 0.0
    twice, size = seconds_a_number(placed((still,), np.zeros(COPIES, int), maps(COPIES)))
    assert size > 0
    print(f"\nwide numbers: {wide / plain:.2f} times; half of all segments without extent: {twice / plain:.2f} times")
    assert wide < 3.0 * plain
    assert twice < 3.0 * plain
