"""The energy of a fabric's yarns and its gradient.

Knows positions, rest lengths and which points are near each other; nothing of stages, starts or pictures. Lengths are
in plain loop lengths and the yarn's bending stiffness is 1. The terms: yarn that hardly stretches, bends, and pushes
other yarn away closer than its diameter; and, standing for friction, set and pressing, a flat fabric, loops that stay
upright, and yarn that does not slide from needle to needle except into floats.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from stitchc.fabric.near import pairs_within
from stitchc.fabric.start import DIAMETER, NODES, Floats, Ints, Layout

# Constants found by trial relaxations, in units of bending stiffness and plain loop length. Plain comes out at its
# published proportions over a wide range of all of them. Friction against growth made the predictions worse, and less
# friction against sliding bends some stitches out of shape.
STRETCH: Final = 3e4
CONTACT: Final = 2000.0
NO_SLIDING: Final = 1e5
FRICTION: Final = 300.0
UPRIGHT_X: Final = 3e4
UPRIGHT_Z: Final = 1e4


@dataclass(frozen=True)
class Yarn:
    """diameter: where it begins to touch. contact: how it resists being pressed. core: the diameter, as a share, that
    it can't be pressed under. slips: the curvature from which its fibres slide past each other when it bends. fibres:
    the share of its resistance to bends that its fibres have each by itself, which is left when they slide."""

    diameter: float = DIAMETER
    contact: float = CONTACT
    core: float = 0.0
    slips: float = np.inf
    fibres: float = 0.0


@dataclass(frozen=True)
class Ground:
    """How the fabric lies, as stiffnesses, and its yarn. flat: by which all yarn is pressed into one plane. even: by
    which the gaps between wales are kept equally far apart."""

    flat: float
    even: float
    yarn: Yarn = Yarn()


MEASURED: Final = Ground(3000.0, 600.0, Yarn(1 / 13, 60.0, 0.4, 3.0))
"""For the cell that yarns choose: a swatch is smoothed out flat before it is measured. With less, repeats whose same
needles always hold fold along their wales; without even gaps two slips in three rows come out wider than plain. The
yarn is soft and a bend hardly resists further bending, so that plain stocking stitch and garter stitch have their
published proportions; no figure of tuck or slip chose it."""

SEEN: Final = Ground(3000.0, 3500.0, Yarn(1 / 13, 60.0, 0.4, 1.5, 0.1))
"""For the picture, at a given cell: yarn as thick and as soft. It takes the set of what it lies in, so that it bends
as lightly almost from the first, and floats lie straight; what its fibres keep of stiffness keeps it from kinking.
Gaps are as even as the needles were, or ladders close. Chosen by eye (tests/fabric/seen.md)."""

POINT_SPACING: Final = 0.5
"""Contact points lie at most this many diameters apart along the yarn."""

_WIDE: Final = 0.8
_NARROW: Final = 0.25
"""Pairs are listed anew when points may have come nearer by so many diameters: from all points, and from that list."""
_OWN_ARC: Final = 1.7


@dataclass(frozen=True)
class Ties:
    """Groups of nodes that are drawn to their common mean coordinate. Arrays run over all members of all groups.

    stiffness: of each member's spring. most: the force at which it gives way, as friction does.
    """

    node: Ints
    group: Ints
    counts: Floats
    stiffness: float
    most: float = np.inf

    @classmethod
    def between(cls, groups: list[Ints], stiffness: float, most: float = np.inf) -> Ties:
        groups = [nodes for nodes in groups if nodes.size]
        counts = np.array([nodes.size for nodes in groups], dtype=np.intp)
        node = np.concatenate(groups) if groups else np.zeros(0, dtype=np.intp)
        return cls(node, np.repeat(np.arange(counts.size), counts), counts.astype(float), stiffness, most)

    def pull(self, values: Floats, gradient: Floats) -> float:
        """The energy; its gradient is added. A node is in a group once."""
        if not self.node.size:
            return 0.0
        places = values[self.node]
        off = places - self._means(places)[self.group]
        bent = np.sqrt(1 + (off * (self.stiffness / self.most)) ** 2)
        force = self.stiffness * off / bent
        force -= self._means(force)[self.group]
        gradient[self.node] += force
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

    Public besides, for the metric: along_x, even_x and along_z (ties), share and length (of yarn, for each node and
    edge), stretch, flat, leading.
    """

    closest: float = np.inf
    coarsest: float = 0.0
    leading = 0.0

    def __init__(self, layout: Layout, ground: Ground) -> None:
        self.layout, self.flat, self._yarn = layout, ground.flat, ground.yarn
        looped = np.array([cell.looped for cell in layout.cells]).reshape(layout.height, layout.width)
        first = np.arange(layout.nodes)[::NODES].reshape(looped.shape)
        # Where a needle slips, a float gives its slack to its neighbours; a ladder's bars lie there in every course.
        tied = looped | ~looped.any(axis=0)
        at_gap = tied & np.roll(tied, 1, axis=1)
        gaps = [first[at_gap[:, column], column] for column in range(layout.width)]
        middles = [first[looped[:, column], column] + NODES // 2 for column in range(layout.width)]
        quarters = [np.array([node + NODES // 4, node + 3 * NODES // 4]) for node in first[looped].tolist()]
        self.along_x = (Ties.between(gaps, NO_SLIDING, FRICTION), Ties.between(middles, UPRIGHT_X))
        self.even_x = Ties.between([np.concatenate(gaps)] if ground.even else [], ground.even or 1.0)
        self.along_z = Ties.between(quarters, UPRIGHT_Z)
        self._wale = np.arange(layout.nodes) // NODES % layout.width

    def lead(self, shape: Floats, stiffness: float) -> None:
        """Draw nodes toward a shape (3, nodes; in wales, courses and lengths) that goes along with the cell."""
        self._lead, self.leading = shape, stiffness

    def rest(self, length: Floats, diameter: float, nodes: Floats, width: float, stretch: float = STRETCH) -> None:
        """Set the rest length of each edge (from a node to the next), the yarn's diameter, and how it resists stretch.

        nodes, width: where nodes are now; edges longer than they should be get contact points for what they are.
        """
        self.diameter = diameter
        self.length = length
        self.stretch = stretch
        self.share = (length + self.layout.behind(length)) / 2
        edges = self.layout.edges(nodes, width)
        actual = np.sqrt((edges * edges).sum(axis=0)) / 1.05
        parts = np.maximum(1, np.ceil(np.maximum(length, actual) / (POINT_SPACING * diameter) - 1e-6)).astype(np.intp)
        self._parts = parts
        self._begins = np.cumsum(parts) - parts
        self.base = np.repeat(np.arange(length.size), parts)
        self._toward = (np.arange(self.base.size) - self._begins[self.base]) / parts[self.base]
        self._weight = (length / parts)[self.base]
        self._point_course = self.base // self.layout.course_nodes
        self._course_arc = np.bincount(self._point_course, self._weight)
        begins = np.cumsum(self._course_arc) - self._course_arc
        self._arc = np.cumsum(self._weight) - self._weight - begins[self._point_course]
        self._wide: _Pairs | None = None
        self._narrow: _Pairs | None = None

    def _points(self, nodes: Floats, edges: Floats) -> Floats:
        points: Floats = nodes[:, self.base] + edges[:, self.base] * self._toward
        return points

    def strains(self, nodes: Floats, width: float) -> Floats:
        """Strain of each course's yarn, over all of it: a loop that is drawn longer robs others of its course."""
        edges = self.layout.edges(nodes, width)
        length = np.sqrt((edges * edges).sum(axis=0)).reshape(self.layout.height, -1).sum(axis=1)
        strains: Floats = length / self.length.reshape(self.layout.height, -1).sum(axis=1) - 1
        return strains

    def _pairs_near(self, nodes: Floats, edges: Floats, box: Floats) -> tuple[_Pairs, Floats]:
        """Pairs of points that are or may soon be in contact, and how far each two are apart, (3, pairs)."""
        points = self._points(nodes, edges)
        if self._narrow is None or not self._narrow.holds(nodes, box, _NARROW * self.diameter):
            if self._wide is None or not self._wide.holds(nodes, box, _WIDE * self.diameter):
                first, second, image = pairs_within(points, box[0], box[1], self.diameter * (1 + _WIDE))
                # A strand does not touch itself close by along its own arc, nor at a bend between two long edges; it
                # does touch its copy in the next repeat.
                course = self._point_course[first]
                arc = self._arc[first] - self._arc[second] - image[0] * self._course_arc[course]
                edges_on = np.abs(self.base[first] - self.base[second])
                beside = (edges_on <= 1) | (edges_on == self.layout.course_nodes - 1)
                along = beside | (np.abs(arc) < _OWN_ARC * self.diameter)
                own = (course == self._point_course[second]) & (image[1] == 0) & along
                weight = self._yarn.contact * self._weight[first] * self._weight[second]
                self._wide = _Pairs(first, second, image, weight, nodes.copy(), box).those(~own, nodes, box)
            apart = self._wide.apart(points, box)
            near = (apart * apart).sum(axis=0) < ((1 + _NARROW) * self.diameter) ** 2
            self._narrow = self._wide.those(near, nodes, box)
        return self._narrow, self._narrow.apart(points, box)

    def __call__(self, nodes: Floats, width: float, height: float) -> tuple[float, Floats, Floats]:
        ahead, behind = self.layout.ahead, self.layout.behind
        h, share = self.length, self.share
        edges = self.layout.edges(nodes, width)
        length = np.sqrt((edges * edges).sum(axis=0))
        self.coarsest = float((length / self._parts).max())
        strain = length / h - 1
        energy = self.stretch / 2 * float((h * strain * strain).sum())
        tension = edges * (self.stretch * strain / length)
        slope = edges / h
        bend = slope - behind(slope)
        eased, fibres = self._eased(bend), self._yarn.fibres
        moment = bend * self.resistance(bend)
        energy += float((bend * bend / share * (fibres / 2 + (1 - fibres) / (1 + eased))).sum())
        tension += (moment - ahead(moment)) / h

        pairs, apart = self._pairs_near(nodes, edges, np.array([width, height]))
        square = (apart * apart).sum(axis=0)
        self.closest = float(np.sqrt(square.min())) if square.size else np.inf
        touch = np.flatnonzero(square < self.diameter**2)
        square, apart, weight = square[touch], apart[:, touch], pairs.weight[touch]
        away = np.sqrt(square)
        room, deep = self._room(away)
        energy += float((weight * (room**-2 + room**2 - 2)).sum())
        push = apart * (2 * weight * (room - room**-3) / (away * deep))
        growth = (tension[:2] * edges[:2]).sum(axis=1) + (push[:2] * apart[:2]).sum(axis=1)
        first, second, count = pairs.first[touch], pairs.second[touch], self.base.size
        on_points = np.array([np.bincount(first, each, count) - np.bincount(second, each, count) for each in push])
        onward = np.add.reduceat(on_points * self._toward, self._begins, axis=1)
        gradient = behind(tension + onward) - tension + np.add.reduceat(on_points, self._begins, axis=1) - onward

        off = nodes[2] - float((share * nodes[2]).sum() / share.sum())
        press = self.flat * share * off
        energy += 0.5 * float((press * off).sum())
        gradient[2] += press
        if self.leading:
            cell = np.array([[width / self.layout.width], [height / self.layout.height], [1.0]])
            astray = nodes - self._lead * cell
            back = self.leading * share * astray
            energy += 0.5 * float((back * astray).sum())
            gradient += back
            growth += (back[:2] * astray[:2]).sum(axis=1)
        in_wales = nodes[0] - self._wale * (width / self.layout.width)
        for ties, values in (*((each, nodes[0]) for each in self.along_x), (self.even_x, in_wales)):
            pulled = np.zeros_like(nodes[0])
            energy += ties.pull(values, pulled)
            growth[0] += float((pulled * values).sum())
            gradient[0] += pulled
        energy += self.along_z.pull(nodes[2], gradient[2])
        return energy, gradient, growth

    def resistance(self, bend: Floats) -> Floats:
        """The moment at each node over its bend (3, nodes; the change of slope)."""
        fibres = self._yarn.fibres
        result: Floats = (fibres + (1 - fibres) / self._eased(bend)) / self.share
        return result

    def _eased(self, bend: Floats) -> Floats:
        """How much less than those of straight yarn its fibres hold together at each node."""
        result: Floats = np.sqrt(1 + (bend * bend).sum(axis=0) / (self.share * self._yarn.slips) ** 2)
        return result

    def _room(self, away: Floats) -> tuple[Floats, float]:
        """How far two points are from each other's core, as a share of where they begin to touch, and that length."""
        core, deep = self._yarn.core * self.diameter, (1 - self._yarn.core) * self.diameter
        return np.maximum((away - core) / deep, 0.01), deep

    def contacts(self, nodes: Floats, width: float, height: float) -> tuple[list[tuple[Ints, Floats]], Floats, Floats]:
        """Points that touch as springs: which nodes take part with which factor (pairs,), where pairs lie (3, pairs),
        and the root of each spring's stiffness along its line (3, pairs)."""
        pairs, apart = self._pairs_near(nodes, self.layout.edges(nodes, width), np.array([width, height]))
        square = (apart * apart).sum(axis=0)
        touch = np.flatnonzero(square < self.diameter**2)
        square, apart = square[touch], apart[:, touch]
        room, deep = self._room(np.sqrt(square))
        stiffness = pairs.weight[touch] * (6 * room**-4 + 2) / deep**2
        following = self.layout.ahead(np.arange(self.layout.nodes))
        terms = []
        for point, sign in ((pairs.first[touch], 1.0), (pairs.second[touch], -1.0)):
            node, toward = self.base[point], self._toward[point]
            terms += [(node, sign * (1 - toward)), (following[node], sign * toward)]
        return terms, apart, apart * np.sqrt(stiffness / square)


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Pairs of contact points, and the `nodes` and `box` that they were listed for. image: as of `pairs_within`."""

    first: Ints
    second: Ints
    image: Floats
    weight: Floats
    nodes: Floats
    box: Floats

    def those(self, which: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], nodes: Floats, box: Floats) -> _Pairs:
        kept = np.flatnonzero(which)
        first, second, weight = self.first.take(kept), self.second.take(kept), self.weight.take(kept)
        return _Pairs(first, second, self.image.take(kept, axis=1), weight, nodes.copy(), box)

    def holds(self, nodes: Floats, box: Floats, nearer: float) -> bool:
        """Whether no two points can have come nearer to each other by more than that."""
        moved = nodes - self.nodes
        most = 2 * np.sqrt((moved * moved).sum(axis=0).max()) + np.abs(box - self.box).max()
        return bool(most < nearer)

    def apart(self, points: Floats, box: Floats) -> Floats:
        apart = points.take(self.first, axis=1) - points.take(self.second, axis=1)
        apart[:2] -= self.image * box[:, None]
        return apart
