"""The energy of a fabric's yarns, its gradient, and a positive definite model of its second derivatives.

Knows positions, rest lengths and which points are near each other; nothing of stages, starts or pictures. Lengths are
in plain loop lengths and the yarn's bending stiffness is 1. The terms: yarn that hardly stretches, bends, and pushes
other yarn away closer than its diameter; and, standing for friction, set and pressing, a flat fabric, loops that stay
upright, and yarn that does not slide from needle to needle except into floats.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from stitchc.chart import SLIP
from stitchc.fabric.start import Floats, Ints, Layout

if TYPE_CHECKING:
    import scipy.sparse

# Constants found by trial relaxations, in units of bending stiffness and plain loop length. Plain comes out at its
# published proportions over a wide range of all of them.
STRETCH: Final = 3e4
CONTACT: Final = 2000.0
FLAT: Final = 3000.0
NO_SLIDING: Final = 1e5
FRICTION: Final = 300.0
UPRIGHT_X: Final = 3e4
UPRIGHT_Z: Final = 1e4
EVEN: Final = 600.0
"""Of wale gaps at a given cell; 0 where the cell is free. Yarn that springs back for ever pushes the neighbours of
tucks together into ladders; real yarn takes the set of the needles that it was knitted on, one pitch apart."""

POINT_SPACING: Final = 0.45
"""Contact points lie at most this many diameters apart along the yarn."""

_SKIN: Final = 0.5
_OWN_ARC: Final = 1.7


@dataclass(frozen=True)
class _Ties:
    """Groups of nodes that are drawn to their common mean coordinate. Arrays run over all members of all groups.

    stiffness: of each member's spring. most: the force at which it gives way, as friction does.
    """

    node: Ints
    group: Ints
    counts: Floats
    stiffness: Floats
    most: Floats

    @classmethod
    def between(cls, groups: list[list[int]], stiffness: list[float], most: list[float]) -> _Ties:
        counts = [len(nodes) for nodes in groups]
        group = np.repeat(np.arange(len(groups)), counts).astype(np.intp)
        node = np.array([node for nodes in groups for node in nodes], dtype=np.intp)
        return cls(node, group, np.array(counts, dtype=float), np.array(stiffness)[group], np.array(most)[group])

    def pull(self, values: Floats, gradient: Floats) -> float:
        """The energy; its gradient is added. A node is in a group once."""
        at = values[self.node]
        off = at - self._means(at)[self.group]
        reach = self.most / self.stiffness
        bent = np.sqrt(1 + (off / reach) ** 2)
        force = self.stiffness * off / bent
        force -= self._means(force)[self.group]
        gradient += np.bincount(self.node, force, gradient.size)
        return float((self.stiffness * off * off / (1 + bent)).sum())

    def _means(self, values: Floats) -> Floats:
        result: Floats = np.bincount(self.group, values, self.counts.size) / self.counts
        return result


class Energy:
    """The energy of one layout as a function of node positions (3, nodes) and the repeat's width and height.

    `rest` must have been called. A call returns the energy, the gradient over the nodes (3, nodes), and its two
    derivatives to the logarithms of the repeat's width and height when nodes move along with it. It also sets
    `closest`, the least distance between contact points of different strands (of those near each other), and
    `coarsest`, the longest way from a contact point to the next.
    """

    closest: float = np.inf
    coarsest: float = 0.0
    _leading = 0.0

    def __init__(self, layout: Layout, even: float = 0.0) -> None:
        """even: stiffness by which the gaps between wales are kept equally far apart."""
        self.layout = layout
        self._next, self._previous = layout.next_node, layout.previous_node
        gaps: list[list[int]] = [[] for _ in range(layout.width)]
        middles: list[list[int]] = [[] for _ in range(layout.width)]
        quarters: list[list[int]] = []
        for cell in layout.cells:
            if cell.kind == SLIP:
                continue
            if layout.at(cell.row, cell.column - 1).kind != SLIP:
                gaps[cell.column].append(cell.first)
            middles[cell.column].append(cell.first + cell.count // 2)
            quarters.append([cell.first + cell.count // 4, cell.first + 3 * cell.count // 4])
        gaps = [nodes for nodes in gaps if nodes]
        self._ties_x = _Ties.between(
            gaps + middles,
            [NO_SLIDING] * len(gaps) + [UPRIGHT_X] * len(middles),
            [FRICTION] * len(gaps) + [1e9] * len(middles),
        )
        spaced = [node for nodes in gaps for node in nodes]
        self._ties_even = _Ties.between([spaced] if even and spaced else [], [even], [1e9])
        self._wale = np.zeros(layout.nodes)
        for cell in layout.cells:
            self._wale[cell.first] = cell.column
        self._ties_z = _Ties.between(quarters, [UPRIGHT_Z] * len(quarters), [1e9] * len(quarters))

    def lead(self, shape: Floats, stiffness: float) -> None:
        """Draw nodes toward a shape (3, nodes; in wales, courses and lengths) that goes along with the cell."""
        self._lead, self._leading = shape, stiffness

    def _astray(self, at: Floats, width: float, height: float) -> Floats:
        w, c = width / self.layout.width, height / self.layout.height
        led: Floats = self._lead * np.array([[w], [c], [1.0]])
        return at - led

    def rest(self, length: Floats, diameter: float, at: Floats, width: float, stretch: float = STRETCH) -> None:
        """Set the rest length of each edge (from a node to the next), the yarn's diameter, and how it resists stretch.

        at, width: where nodes are now; edges longer than they should be get contact points for what they are.
        """
        self.diameter = diameter
        self._h = length
        self._stretch = stretch
        self._share = (length + length[self._previous]) / 2
        edges = self._edges(at, width)
        actual = np.sqrt((edges * edges).sum(axis=0)) / 1.05
        parts = np.maximum(1, np.ceil(np.maximum(length, actual) / (POINT_SPACING * diameter) - 1e-6)).astype(np.intp)
        self._parts = parts
        self._nodes_are_points = bool((parts == 1).all())
        self._base = np.repeat(np.arange(length.size), parts)
        self._ahead = self._next[self._base]
        self._toward = (np.arange(self._base.size) - (np.cumsum(parts) - parts)[self._base]) / parts[self._base]
        self._weight = (length / parts)[self._base]
        self._point_course = self.layout.course[self._base]
        self._course_arc = np.bincount(self._point_course, self._weight)
        begins = np.cumsum(self._course_arc) - self._course_arc
        self._arc = np.cumsum(self._weight) - self._weight - begins[self._point_course]
        self._pairs_of: tuple[Floats, float, float] | None = None

    def _edges(self, at: Floats, width: float) -> Floats:
        edges = at[:, self._next] - at
        edges[0] += self.layout.wraps * width
        return edges

    def points(self, at: Floats, width: float) -> Floats:
        """Contact points, shape (3, points)."""
        if self._nodes_are_points:
            return at
        ahead = at[:, self._ahead]
        ahead[0] += self.layout.wraps[self._base] * width
        points: Floats = at[:, self._base] * (1 - self._toward) + ahead * self._toward
        return points

    def strains(self, at: Floats, width: float) -> Floats:
        """Strain of each cell's yarn, over all of it."""
        edges = self._edges(at, width)
        cell = self.layout.cell
        strains: Floats = np.bincount(cell, np.sqrt((edges * edges).sum(axis=0))) / np.bincount(cell, self._h) - 1
        return strains

    def _find_pairs(self, at: Floats, width: float, height: float) -> None:
        """List pairs of points that are or may soon be in contact, with the repeat that the second stands in."""
        from scipy.spatial import cKDTree

        if self._pairs_of is not None:
            before, *box = self._pairs_of
            moved = at - before
            if box == [width, height] and float((moved * moved).sum(axis=0).max()) < (_SKIN * self.diameter / 2) ** 2:
                return
        points = self.points(at, width)
        size = np.array([[width], [height]])
        folded = points.copy()
        folded[:2] %= size
        folded[:2] = np.where(folded[:2] >= size, 0.0, folded[:2])
        tree = cKDTree(folded.T, boxsize=np.array([width, height, 0.0]), balanced_tree=False, compact_nodes=False)
        pairs = tree.query_pairs(self.diameter * (1 + _SKIN), output_type="ndarray")
        one, two = pairs[:, 0], pairs[:, 1]
        image = np.round((points[:2, one] - points[:2, two]) / size)
        # A strand does not touch itself close by along its own arc; it does touch its own copy in the next repeat.
        course = self._point_course[one]
        arc = self._arc[one] - self._arc[two] - image[0] * self._course_arc[course]
        own = (course == self._point_course[two]) & (image[1] == 0) & (np.abs(arc) < _OWN_ARC * self.diameter)
        self._one, self._two, self._image = one[~own], two[~own], image[:, ~own]
        self._pair_weight = CONTACT * self._weight[self._one] * self._weight[self._two]
        self._pairs_of = (at.copy(), width, height)

    def _apart(self, points: Floats, width: float, height: float) -> Floats:
        apart = points[:, self._one] - points[:, self._two]
        apart[0] -= self._image[0] * width
        apart[1] -= self._image[1] * height
        return apart

    def __call__(self, at: Floats, width: float, height: float) -> tuple[float, Floats, Floats]:
        h, share = self._h, self._share
        edges = self._edges(at, width)
        length = np.sqrt((edges * edges).sum(axis=0))
        self.coarsest = float((length / self._parts).max())
        strain = length / h - 1
        energy = self._stretch / 2 * float((h * strain * strain).sum())
        tension = edges * (self._stretch * strain / length)
        slope = edges / h
        bend = slope - slope[:, self._previous]
        moment = bend / share
        energy += 0.5 * float((bend * moment).sum())
        tension += (moment - moment[:, self._next]) / h
        gradient = tension[:, self._previous] - tension
        growth = (tension[:2] * edges[:2]).sum(axis=1)

        off = at[2] - float((share * at[2]).sum() / share.sum())
        press = FLAT * share * off
        energy += 0.5 * float((press * off).sum())
        gradient[2] += press

        if self._leading:
            astray = self._astray(at, width, height)
            back = self._leading * share * astray
            energy += 0.5 * float((back * astray).sum())
            gradient += back
            growth += (back[:2] * astray[:2]).sum(axis=1)

        pulled = np.zeros_like(at[0])
        energy += self._ties_x.pull(at[0], pulled)
        growth[0] += float((pulled * at[0]).sum())
        gradient[0] += pulled
        if self._ties_even.counts.size:
            astray_x = at[0] - self._wale * (width / self.layout.width)
            pulled = np.zeros_like(at[0])
            energy += self._ties_even.pull(astray_x, pulled)
            growth[0] += float((pulled * astray_x).sum())
            gradient[0] += pulled
        energy += self._ties_z.pull(at[2], gradient[2])

        self._find_pairs(at, width, height)
        apart = self._apart(self.points(at, width), width, height)
        square = (apart * apart).sum(axis=0)
        self.closest = float(np.sqrt(square.min())) if square.size else np.inf
        near = np.flatnonzero(square < self.diameter**2)
        square, apart, weight = square[near], apart[:, near], self._pair_weight[near]
        ratio = self.diameter**2 / square
        energy += float((weight * (ratio + 1 / ratio - 2)).sum())
        push = apart * (2 * weight * (1 / self.diameter**2 - ratio / square))
        growth += (push[:2] * apart[:2]).sum(axis=1)
        one, two = self._one[near], self._two[near]
        for axis in range(3):
            count = self._base.size
            on_points = np.bincount(one, push[axis], count) - np.bincount(two, push[axis], count)
            if self._nodes_are_points:
                gradient[axis] += on_points
            else:
                gradient[axis] += np.bincount(self._base, on_points * (1 - self._toward), at.shape[1])
                gradient[axis] += np.bincount(self._ahead, on_points * self._toward, at.shape[1])
        return energy, gradient, growth

    def curvature(self, at: Floats, width: float, height: float) -> tuple[scipy.sparse.csc_matrix, Floats, Floats]:
        """The second derivatives without the parts that can be negative: (A, B, C) of shapes (3n, 3n), (3n, 2), (2, 2).

        Unknown 3 k + a is coordinate a of node k; the two further unknowns are the logarithms of width and height.
        Made as J^T J of all springs, so that A is positive definite.
        """
        import scipy.sparse as sparse

        n = at.shape[1]
        index = np.arange(n)
        rows: list[Ints] = []
        columns: list[Ints] = []
        values: list[Floats] = []
        grows: list[Floats] = []
        total = 0

        def springs(terms: list[tuple[Ints, int, Floats]], growth: Floats) -> None:
            """One row of J a spring: (node, axis, factor) terms, and how it stretches with ln width and ln height."""
            nonlocal total
            count = growth.shape[1]
            for node, axis, factor in terms:
                rows.append(np.arange(total, total + count))
                columns.append(node * 3 + axis)
                values.append(factor)
            grows.append(growth)
            total += count

        edges = self._edges(at, width)
        length = np.sqrt((edges * edges).sum(axis=0))
        h, share = self._h, self._share
        stiff = np.sqrt(self._stretch / h) * edges / length
        springs(
            [(self._next, a, stiff[a]) for a in range(3)] + [(index, a, -stiff[a]) for a in range(3)],
            stiff[:2] * edges[:2],
        )
        taut = np.sqrt(self._stretch / h * np.maximum(length / h - 1, 0))
        for a in range(3):
            grown = np.zeros((2, n))
            if a < 2:
                grown[a] = taut * edges[a]
            springs([(self._next, a, taut), (index, a, -taut)], grown)
        slope, root = edges / h, 1 / np.sqrt(share)
        before, after = root / h[self._previous], root / h
        for a in range(3):
            grown = np.zeros((2, n))
            if a < 2:
                grown[a] = root * (slope[a] - slope[a, self._previous])
            springs([(self._previous, a, before), (index, a, -before - after), (self._next, a, after)], grown)
        points = self.points(at, width)
        self._find_pairs(at, width, height)
        apart = self._apart(points, width, height)
        square = (apart * apart).sum(axis=0)
        near = np.flatnonzero(square < self.diameter**2)
        square, apart = square[near], apart[:, near]
        stiffness = self._pair_weight[near] * (6 * self.diameter**2 / square**2 + 2 / self.diameter**2)
        normal = apart * np.sqrt(stiffness / square)
        terms: list[tuple[Ints, int, Floats]] = []
        for point, sign in ((self._one[near], 1.0), (self._two[near], -1.0)):
            for a in range(3):
                terms.append((self._base[point], a, sign * normal[a] * (1 - self._toward[point])))
                if not self._nodes_are_points:
                    terms.append((self._ahead[point], a, sign * normal[a] * self._toward[point]))
        springs(terms, normal[:2] * apart[:2])

        place = (np.concatenate(rows), np.concatenate(columns))
        jacobian = sparse.csc_matrix((np.concatenate(values), place), shape=(total, 3 * n))
        grown = np.concatenate(grows, axis=1).T
        diagonal = np.zeros((n, 3))
        diagonal += (0.1 + self._leading) * share[:, None]
        diagonal[:, 2] += FLAT * share
        z = self._ties_z
        for x in (self._ties_x, self._ties_even):
            diagonal[:, 0] += np.bincount(x.node, x.stiffness * (1 - 1 / x.counts[x.group]), n)
        diagonal[:, 2] += np.bincount(z.node, z.stiffness / 2, n)
        matrix = (jacobian.T @ jacobian + sparse.diags_array(diagonal.ravel())).tocsc()
        border: Floats = np.asarray(jacobian.T @ grown)
        return matrix, border, grown.T @ grown
