"""A frame solver of the tests' own, to hold the product's grillage against.

Another way to the same thing: each bridge is cut into several Hermite beam elements whose nodes
move in the sheet's own axes (deflection and both slopes), each piece of sheet is a plane
w = p0 + p1 x + p2 y that the nodes on it follow, and SciPy's sparse LU solves the whole. Moments
come from the curvature of the elements' shape functions. (Element matrices as in any textbook of
the finite element method, from memory; ``test_grillage_reference`` holds them against PyPI
anastruct and PyNiteFEA.)
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

#: Elements of a bridge.
PARTS = 3
GRAVITY = 9.80665e-3


def saint_venant(width, thick):
    """Return the torsion constant by the exact series (Timoshenko and Goodier, from memory)."""
    a, b = max(width, thick), min(width, thick)
    odd = np.arange(1, 60, 2)
    return (
        a
        * b**3
        / 3
        * (1 - 192 * b / np.pi**5 / a * (np.tanh(odd * np.pi * a / 2 / b) / odd**5).sum())
    )


class Frame:
    """Rigid pieces on bridges.

    Parameters
    ----------
    pieces : list of Polygon
        Without the fixed frame.
    bridges : list of (first, second, start, end, width)
        Piece numbers, None for the frame, and places.
    modulus, poisson, thick : float
    torsion : callable
        Torsion constant of a width and thickness.
    """

    def __init__(self, pieces, bridges, modulus, poisson, thick, torsion=saint_venant):
        self.pieces, self.bridges = pieces, bridges
        self.modulus, self.thick = modulus, thick
        self.shear = modulus / (2 * (1 + poisson))
        self.torsion = torsion
        inner = PARTS - 1
        self.size = 3 * (len(pieces) + inner * len(bridges))
        rows, columns, values = [], [], []
        self.elements = []
        for number, (first, second, start, end, width) in enumerate(bridges):
            start, end = np.asarray(start, float), np.asarray(end, float)
            way = end - start
            if np.hypot(*way) < thick:  # no beam any more: counted as long as it is thick
                start = end - way / np.hypot(*way) * thick
            points = np.linspace(start, end, PARTS + 1)
            base = len(pieces) + inner * number
            owners = [first, *range(base, base + inner), second]
            maps = [
                np.zeros((3, 3)) if owner is None else plane(p) if k in (0, PARTS) else np.eye(3)
                for k, (owner, p) in enumerate(zip(owners, points, strict=True))
            ]
            for k in range(PARTS):
                used = [
                    3 * (owner or 0) + freedom
                    for owner in owners[k : k + 2]
                    for freedom in range(3)
                ]
                length = np.hypot(*(points[k + 1] - points[k]))
                local = self.local(points[k + 1] - points[k]) @ np.block(
                    [[maps[k], np.zeros((3, 3))], [np.zeros((3, 3)), maps[k + 1]]]
                )
                r, c = np.meshgrid(used, used, indexing="ij")
                rows.append(r.ravel())
                columns.append(c.ravel())
                values.append((local.T @ self.element(length, width) @ local).ravel())
                self.elements.append((number, k, used, local, length))
        matrix = coo_matrix(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))),
            shape=(self.size, self.size),
        )
        self.lu = splu(matrix.tocsc())

    @staticmethod
    def local(way):
        """Return the map from global freedoms of two nodes to w, slope along, slope across."""
        c, s = way / np.hypot(*way)
        one = np.array([[1, 0, 0], [0, c, s], [0, -s, c]])
        return np.kron(np.eye(2), one)

    def element(self, length, width):
        bend = self.modulus * width * self.thick**3 / 12 / length**3
        twist = self.shear * self.torsion(width, self.thick) / length
        h = length
        matrix = np.zeros((6, 6))
        flex = [0, 1, 3, 4]
        matrix[np.ix_(flex, flex)] = bend * np.array(
            [
                [12, 6 * h, -12, 6 * h],
                [6 * h, 4 * h * h, -6 * h, 2 * h * h],
                [-12, -6 * h, 12, -6 * h],
                [6 * h, 2 * h * h, -6 * h, 4 * h * h],
            ]
        )
        matrix[np.ix_([2, 5], [2, 5])] = twist * np.array([[1, -1], [-1, 1]])
        return matrix

    def weight(self, gram_per_mm2):
        """Return the load of the pieces' own weight."""
        load = np.zeros(self.size)
        for number, piece in enumerate(self.pieces):
            middle = piece.centroid
            load[3 * number : 3 * number + 3] = (
                piece.area * gram_per_mm2 * GRAVITY * plane((middle.x, middle.y))[0]
            )
        return load

    def pushes(self, push, weight):
        """Return how all move under the weight and a push at each corner of each piece's hull.

        Returns
        -------
        moves : array (size, cases)
        places : list of (piece, corner)
        """
        unit = np.zeros((self.size, 3 * len(self.pieces)))
        unit[: 3 * len(self.pieces)] = np.eye(3 * len(self.pieces))
        unit, rest = self.solve(unit), self.solve(weight)
        moves, places = [], []
        for number, piece in enumerate(self.pieces):
            for corner in shapely.get_coordinates(shapely.convex_hull(piece))[:-1]:
                own = unit[:, 3 * number : 3 * number + 3]
                moves.append(rest + push * own @ plane(corner)[0])
                places.append((number, corner))
        return np.array(moves).T, places

    def solve(self, loads):
        return self.lu.solve(loads)

    def stresses(self, moves):
        """Return von Mises' stress at the worse end of each bridge, one column a case."""
        worst = np.zeros((len(self.bridges), moves.shape[1]))
        for number, k, used, local, h in self.elements:
            width = self.bridges[number][4]
            w1, s1, c1, w2, s2, c2 = local @ moves[used]
            ends = []
            if k == 0:  # curvature of the cubic at its start, and at its end
                ends.append((-6 * w1 - 4 * h * s1 + 6 * w2 - 2 * h * s2) / h**2)
            if k == PARTS - 1:
                ends.append((6 * w1 + 2 * h * s1 - 6 * w2 + 4 * h * s2) / h**2)
            b = min(width, self.thick)
            for curvature in ends:
                bending = self.modulus * curvature * self.thick / 2
                shearing = self.shear * (c2 - c1) / h * b
                worst[number] = np.maximum(worst[number], np.sqrt(bending**2 + 3 * shearing**2))
        return worst


def plane(point):
    """Return the map from p0 + p1 x + p2 y to the value and slopes at a point."""
    return np.array([[1, point[0], point[1]], [0, 1, 0], [0, 0, 1]], float)


def worst_of_all(frame, gram_per_mm2, push):
    """Return the deflection of each piece where it is pushed, and the stress of each bridge."""
    moves, places = frame.pushes(push, frame.weight(gram_per_mm2))
    deflection = np.zeros(len(frame.pieces))
    for case, (number, corner) in enumerate(places):
        own = abs(plane(corner)[0] @ moves[3 * number : 3 * number + 3, case])
        deflection[number] = max(deflection[number], own)
    return deflection, frame.stresses(moves).max(axis=1)
