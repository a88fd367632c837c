"""Pairs of points that lie near each other in a repeat that goes on without end. Knows points only."""

from __future__ import annotations

import numpy as np

from stitchc.fabric.start import Floats, Ints


def pairs_within(points: Floats, width: float, height: float, reach: float) -> tuple[Ints, Ints, Floats]:
    """Every two points (3, n) within reach of each other: first, second, and the repeat (2, pairs) that the second's
    own copy is counted from: first - second - image * (width, height) is how far apart they are.

    A pair that is near in several ways, as in a narrow repeat, comes as often. Points are sorted into squares of at
    least `reach`, and each square is compared with itself and with half of its neighbours.
    """
    size = np.array([[width], [height]])
    lap = np.floor(points[:2] / size)
    folded = points[:2] - lap * size
    across, up = max(1, int(width / reach)), max(1, int(height / reach))
    column = np.minimum((folded[0] * (across / width)).astype(np.intp), across - 1)
    row = np.minimum((folded[1] * (up / height)).astype(np.intp), up - 1)
    square = row * across + column
    order = np.argsort(square, kind="stable")
    count = np.bincount(square, minlength=across * up)
    begin = np.cumsum(count) - count
    column, row, lap = column[order], row[order], lap[:, order]
    x, y, z = folded[0, order], folded[1, order], points[2, order]
    index = np.arange(order.size)
    firsts, seconds, images = [], [], []
    for right, above in ((0, 0), (1, 0), (-1, 1), (0, 1), (1, 1)):
        lap_x, other_column = np.divmod(column + right, across)
        lap_y, other_row = np.divmod(row + above, up)
        other = other_row * across + other_column
        least = index + 1 if (right, above) == (0, 0) else begin[other]
        many = begin[other] + count[other] - least
        first = np.repeat(index, many)
        second = np.arange(first.size) + np.repeat(least - np.cumsum(many) + many, many)
        apart_x = (x - lap_x * width)[first] - x[second]
        apart_y = (y - lap_y * height)[first] - y[second]
        apart_z = z[first] - z[second]
        near = np.flatnonzero(apart_x * apart_x + apart_y * apart_y + apart_z * apart_z < reach * reach)
        first, second = first[near], second[near]
        images.append(np.array([lap_x[first], lap_y[first]]) + lap[:, first] - lap[:, second])
        firsts.append(order[first])
        seconds.append(order[second])
    return np.concatenate(firsts), np.concatenate(seconds), np.concatenate(images, axis=1)
