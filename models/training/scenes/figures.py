"""One person's body as a renderable figure: rest meshes with the coordinates that clothing needs.

A figure is built once a person. Posing, loosening of cloth and shading happen on the GPU, so a new
pose costs one upload of bone matrices and a new look costs one upload of a few colours.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from .body import BonePose, Person
from .triangles import split_in_four, vertex_normals

BONES_A_VERTEX = 8
VERTEX_FIELDS = np.dtype(
    [
        ("rest", "f4", 3),
        ("normal", "f4", 3),
        ("bones", "u1", 8),
        ("weights", "f4", 8),
        ("region", "f4", 4),
        ("parts", "f4", 4),
        ("kind", "f4"),
    ]
)
"""One vertex on the GPU.

region: along the arm (shoulder 0, elbow 1, wrist 2, elsewhere -0.5), up the body (ankle 0, knee 1,
hip 2, waist 3, neck 4, crown 5), share of arm bones, crease (1 where a joint bends the cloth).
parts: shares of head, hand and foot bones; the fourth is the iris of an eye or the way along a
tail of hair in metres.
"""


class Kind(IntEnum):
    """What a vertex belongs to; the shaders branch on it."""

    SKIN = 0
    EYE = 1
    TROUSERS = 2
    JACKET = 3
    BELT = 4
    TAIL = 5


@dataclass(frozen=True)
class Figure:
    """Rest meshes of one person, ready for the GPU.

    Attributes
    ----------
    vertices : ndarray of VERTEX_FIELDS, (V,)
    skin_size : int
        How many of the vertices, the first, are skin.
    faces : dict of str to ndarray, uint32, (F, 3)
        skin (all), skin_gi (what a gi leaves bare), scalp, trousers, jacket, belt, bun, tail.
    ball_bones, balls : ndarray, (S,) and float32 (S, 4)
        Bone, and rest centre with radius, of balls that fill the body; they cast soft shadow.
    keypoint_bones : ndarray, float32, (17, J, 4)
        Keypoint k is the sum over bones j of ``matrix[j] @ keypoint_bones[k, j]``.
    heads : ndarray, float32, (J, 3)
    eyes : ndarray, float32, (4,)
        Midpoint between the eyes at rest and half their distance.
    belt_height : float
        Rest height of the belt, metres.
    head_bone : int
    woman : bool
    """

    vertices: np.ndarray
    skin_size: int
    faces: dict[str, np.ndarray]
    ball_bones: np.ndarray
    balls: np.ndarray
    keypoint_bones: np.ndarray
    heads: np.ndarray
    eyes: np.ndarray
    belt_height: float
    head_bone: int
    woman: bool

    def matrices(self, bones: BonePose) -> np.ndarray:
        """Bone matrices that take rest vertices to the world, float32, (J, 3, 4)."""
        shift = bones.head - np.einsum("jab,jb->ja", bones.rotation, self.heads)
        return np.concatenate([bones.rotation, shift[..., None]], -1).astype(np.float32)

    def keypoints(self, matrices: np.ndarray) -> np.ndarray:
        """COCO keypoints in the world, (17, 3), of bone matrices (J, 3, 4)."""
        return np.einsum("jab,kjb->ka", matrices, self.keypoint_bones, optimize=True)

    def posed_balls(self, matrices: np.ndarray) -> np.ndarray:
        """Shadow balls in the world: centre and radius, float32, (S, 4)."""
        m = matrices[self.ball_bones]
        centre = np.einsum("sab,sb->sa", m[:, :, :3], self.balls[:, :3]) + m[:, :, 3]
        return np.concatenate([centre, self.balls[:, 3:]], 1).astype(np.float32)

    def lowest(self, matrices: np.ndarray) -> float:
        """Height of the lowest point of the posed skin, metres (every sixth vertex)."""
        v = self.vertices[: self.skin_size : 6]
        up = matrices[v["bones"].astype(int), 2]  # the row that gives z, (n, 8, 4)
        z = np.einsum("nka,na->nk", up[..., :3], v["rest"]) + up[..., 3]
        return float((z * v["weights"]).sum(1).min())

    def on_floor(self, matrices: np.ndarray) -> np.ndarray:
        """Return bone matrices with the lowest point of the skin on the mat."""
        lowered = matrices.copy()
        lowered[:, 2, 3] -= self.lowest(matrices)
        return lowered


def build_figure(person: Person) -> Figure:
    """Build the meshes of one person.

    Vertices are laid out skin, eyes, hair bun and tail, trousers, jacket, belt, so that a look
    that wears less poses a shorter run of them.
    """
    builder = _Builder(person)
    skin, eyes = builder.skin()
    tights_v, tights_w, tights_f = _subdivide(
        person.rest_vertices, builder.weights, person.topology.helpers["helper-tights"]
    )
    bun, tail = builder.bun(), builder.tail()
    trousers = builder.cloth(tights_v, tights_w, tights_f, Kind.TROUSERS)
    jacket = builder.cloth(tights_v, tights_w, tights_f, Kind.JACKET)
    belt = builder.belt_ends(tights_v, tights_w)
    faces = {
        "skin": np.concatenate([skin, eyes]),
        "skin_gi": np.concatenate([skin[builder.bare_in_gi(skin)], eyes]),
        "scalp": skin[builder.scalp(skin)],
        **{"bun": bun, "tail": tail, "trousers": trousers, "jacket": jacket, "belt": belt},
    }
    balls = person.spheres.radii > 0.03
    left, right = builder.at("eye.L"), builder.at("eye.R")
    return Figure(
        vertices=builder.vertices(),
        skin_size=person.topology.skin_size,
        faces={name: f.astype(np.uint32) for name, f in faces.items()},
        ball_bones=person.spheres.bones[balls],
        balls=np.column_stack([person.spheres.centres, person.spheres.radii])[balls],
        keypoint_bones=_keypoint_bones(person, builder.weights),
        heads=person.rest_heads,
        eyes=np.array([*((left + right) / 2), abs(left[0] - right[0]) / 2], np.float32),
        belt_height=builder.belt_height,
        head_bone=person.topology.bone_index["head"],
        woman=person.shape.get("gender", 0.0) > 0.5,
    )


class _Builder:
    """Collects vertices of one person's meshes and hands out faces into them."""

    def __init__(self, person: Person) -> None:
        self._person = person
        self.weights = person.topology.skinning.toarray()
        self._blocks: list[np.ndarray] = []
        self._count = 0
        self.belt_height = float(self.at("spine04")[2]) + 0.01

    def at(self, bone: str) -> np.ndarray:
        """Rest position of a bone's head."""
        return _at(self._person, bone)

    def vertices(self) -> np.ndarray:
        return np.concatenate(self._blocks)

    def skin(self) -> tuple[np.ndarray, np.ndarray]:
        """Skin and eyes; the eyes' vertices follow the skin's."""
        shared, v = self._person.topology, self._person.rest_vertices
        body = shared.skin_faces
        self._add(self._attributes(v, self.weights, body, Kind.SKIN)[: shared.skin_size])
        eye_faces = shared.faces[(shared.faces >= shared.skin_size).any(1)]
        used, index = np.unique(eye_faces, return_inverse=True)
        eyes = self._attributes(v, self.weights, eye_faces, Kind.EYE)[used]
        for side in "LR":
            centre = self.at(f"eye.{side}")
            near = np.linalg.norm(eyes["rest"] - centre, axis=1) < 0.03
            ring = np.hypot(*(eyes["rest"] - centre)[:, [0, 2]].T) < 0.0062
            eyes["parts"][near & ring & (eyes["rest"][:, 1] < centre[1]), 3] = 1
        return body, index.reshape(eye_faces.shape) + self._add(eyes)

    def cloth(self, v: np.ndarray, w: np.ndarray, faces: np.ndarray, kind: Kind) -> np.ndarray:
        return faces + self._add(self._attributes(v, w, faces, kind))

    def bare_in_gi(self, faces: np.ndarray) -> np.ndarray:
        """Which skin a gi may show: head, neck, chest opening, hands, wrists, ankles, feet."""
        block = self._blocks[0]
        region, parts = block["region"][faces].mean(1), block["parts"][faces].mean(1)
        rest = block["rest"][faces].mean(1)
        ends = (parts[:, :3] > 0.02).any(1) | (region[:, 0] > 1.35) | (region[:, 1] < 0.75)
        chest = (region[:, 1] > 3.1) & (np.abs(rest[:, 0]) < 0.14) & (rest[:, 1] < 0.02)
        return ends | chest | (region[:, 1] > 3.8) & (np.abs(rest[:, 0]) < 0.13)

    def scalp(self, faces: np.ndarray) -> np.ndarray:
        """Faces that can carry hair: the head without the front of the face."""
        block = self._blocks[0]
        rest, head = block["rest"][faces].mean(1), block["parts"][faces].mean(1)[:, 0]
        eye = self.at("eye.L")
        face = (rest[:, 1] < eye[1] + 0.035) & (rest[:, 2] < eye[2] + 0.03)
        return (head > 0.4) & ~face & (rest[:, 2] > eye[2] - 0.10)

    def bun(self) -> np.ndarray:
        """A ball of hair behind the crown."""
        eye = self.at("eye.L")
        centre = np.array([0, self._back_of_head() + 0.006, eye[2] + 0.07])
        v, f = _ball(centre, np.array([0.043, 0.04, 0.04]), 10, 8)
        return f + self._add(self._rigid(v, f, "head", Kind.TAIL))

    def tail(self, length: float = 1.0) -> np.ndarray:
        """A tube at the back of the head; the shader lets it hang (`parts[3]`: way along it)."""
        eye = self.at("eye.L")
        rings, sides = 9, 8
        along = np.linspace(0, length, rings)
        turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)
        thick = (
            0.026 * np.sqrt(np.clip(1.08 - along, 0, 1)) * (0.55 + 0.45 * np.minimum(along * 6, 1))
        )
        ring = np.stack([np.cos(turn), 0 * turn, np.sin(turn)], 1)
        v = ring[None] * thick[:, None, None] + [0, self._back_of_head() - 0.012, eye[2] + 0.05]
        i = np.arange(rings * sides).reshape(rings, sides)
        a, b = i[:-1], i[1:]
        c, d = np.roll(a, -1, 1), np.roll(b, -1, 1)
        f = np.concatenate([np.stack([a, b, d], -1), np.stack([a, d, c], -1)]).reshape(-1, 3)
        block = self._rigid(v.reshape(-1, 3), f, "head", Kind.TAIL)
        block["parts"][:, 3] = np.repeat(along, sides)
        block["normal"] = np.tile(ring, (rings, 1))
        return f + self._add(block)

    def _back_of_head(self) -> float:
        block = self._blocks[0]
        level = np.abs(block["rest"][:, 2] - self.at("eye.L")[2] - 0.06) < 0.02
        return float(block["rest"][level & (block["parts"][:, 0] > 0.5), 1].max())

    def belt_ends(self, v: np.ndarray, w: np.ndarray) -> np.ndarray:
        """Knot and two hanging ends, moved by the cloth they lie on."""
        front = (np.abs(v[:, 0]) < 0.12) & (v[:, 1] < 0)
        strips, faces, count = [], [], 0
        for slant in (-0.35, 0.3):
            down = np.linspace(0, 0.24, 7)
            x = np.stack([slant * down - 0.018, slant * down + 0.018], 1)
            z = self.belt_height - 0.012 - np.stack([down, down], 1)
            at = np.stack([x, 0 * x, z], -1).reshape(-1, 3)
            i = np.arange(len(at)).reshape(-1, 2) + count
            quads = np.stack([i[:-1, 0], i[:-1, 1], i[1:, 1], i[1:, 0]], -1)
            faces += [quads[:, [0, 3, 2]], quads[:, [0, 2, 1]]]
            strips.append(at)
            count += len(at)
        at = np.concatenate(strips)
        reach = np.linalg.norm(v[front][None, :, [0, 2]] - at[:, None, [0, 2]], axis=2)
        nearest = np.nonzero(front)[0][reach.argmin(1)]
        at[:, 1] = v[nearest, 1] - 0.026
        knot, knot_f = _ball(at[[0, len(strips[0])]].mean(0), np.array([0.03, 0.014, 0.02]), 8, 6)
        nearest = np.concatenate([nearest, np.full(len(knot), nearest[0])])
        f = np.concatenate([*faces, knot_f + count])
        block = self._attributes(np.concatenate([at, knot]), w[nearest], f, Kind.BELT)
        return f + self._add(block)

    def _rigid(self, v: np.ndarray, f: np.ndarray, bone: str, kind: Kind) -> np.ndarray:
        w = np.zeros((len(v), self.weights.shape[1]), np.float32)
        w[:, self._person.topology.bone_index[bone]] = 1
        return self._attributes(v, w, f, kind)

    def _attributes(self, v: np.ndarray, w: np.ndarray, f: np.ndarray, kind: Kind) -> np.ndarray:
        block = np.zeros(len(v), VERTEX_FIELDS)
        block["rest"], block["normal"], block["kind"] = v, vertex_normals(v, f), kind
        order = np.argpartition(-w, BONES_A_VERTEX, axis=1)[:, :BONES_A_VERTEX]
        falling = np.argsort(-np.take_along_axis(w, order, 1), axis=1)
        order = np.take_along_axis(order, falling, 1)
        top = np.take_along_axis(w, order, 1)
        block["bones"] = order
        block["weights"] = top / top.sum(1, keepdims=True).clip(1e-6)
        block["region"] = _region(self._person, v, w)
        for i, names in enumerate((("head",), ("wrist", "finger", "metacarpal"), ("foot", "toe"))):
            block["parts"][:, i] = _share(self._person, w, names)
        return block

    def _add(self, block: np.ndarray) -> int:
        first = self._count
        self._blocks.append(block)
        self._count += len(block)
        return first


def _at(person: Person, bone: str) -> np.ndarray:
    return person.rest_heads[person.topology.bone_index[bone]]


def _share(person: Person, w: np.ndarray, names: tuple[str, ...]) -> np.ndarray:
    """Share of a vertex's weight on the bones whose names start with one of `names`."""
    return w[
        :, [i for i, label in enumerate(person.topology.bones) if label.startswith(names)]
    ].sum(1)


def _region(person: Person, v: np.ndarray, w: np.ndarray) -> np.ndarray:
    """Region coordinates of vertices (see VERTEX_FIELDS), float32, (V, 4)."""
    out = np.zeros((len(v), 4), np.float32)
    arm = _share(person, w, ("upperarm", "lowerarm", "wrist", "finger", "metacarpal"))
    out[:, 0], out[:, 2] = -0.5, arm
    for side in "LR":
        shoulder, elbow, wrist = (
            _at(person, f"{bone}.{side}") for bone in ("upperarm01", "lowerarm01", "wrist")
        )
        upper, fore = elbow - shoulder, wrist - elbow
        t = ((v - shoulder) @ upper) / (upper @ upper)
        u = ((v - elbow) @ fore) / (fore @ fore)
        along = np.where(u > 0, 1 + u, np.minimum(t, 1))
        mine = (arm > 0.3) & (np.sign(v[:, 0]) == np.sign(shoulder[0]))
        out[mine, 0] = np.clip(along, -0.5, 2.9)[mine]
    crown = float(person.rest_vertices[: person.topology.skin_size, 2].max())
    bones = ("foot.L", "lowerleg01.L", "upperleg01.L", "spine04", "neck01")
    levels = np.array([*(_at(person, bone)[2] for bone in bones), crown])
    levels[2:4] += (-0.03, 0.03)
    below = (v[:, 2] - levels[0]) / 0.2
    out[:, 1] = np.where(v[:, 2] < levels[0], below, np.interp(v[:, 2], levels, range(6)))
    strongest = np.sort(w, 1)[:, -1]
    out[:, 3] = np.clip(2.2 * (1 - strongest), 0, 1)
    return out


def _subdivide(
    v: np.ndarray, w: np.ndarray, faces: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Split every triangle in four; returns vertices, weights and faces of the used part only."""
    used, f = np.unique(faces, return_inverse=True)
    f = f.reshape(faces.shape)
    v, w = v[used], w[used]
    edges, finer = split_in_four(f, len(v))
    return np.concatenate([v, v[edges].mean(1)]), np.concatenate([w, w[edges].mean(1)]), finer


def _ball(
    centre: np.ndarray, radii: np.ndarray, around: int, rings: int
) -> tuple[np.ndarray, np.ndarray]:
    """An ellipsoid."""
    polar = np.linspace(0, np.pi, rings)[:, None]
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)[None]
    unit = np.stack(
        [np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar) + 0 * turn], -1
    )
    i = np.arange(rings * around).reshape(rings, around)
    a, b = i[:-1], i[1:]
    c, d = np.roll(a, -1, 1), np.roll(b, -1, 1)
    f = np.concatenate([np.stack([a, b, d], -1), np.stack([a, d, c], -1)]).reshape(-1, 3)
    return (unit.reshape(-1, 3) * radii + centre).astype(np.float32), f


def _keypoint_bones(person: Person, weights: np.ndarray) -> np.ndarray:
    """Fold the keypoints' vertex weights into bone matrices: a keypoint is linear in them."""
    regressor = person.topology.keypoint_weights
    kept = np.nonzero((regressor != 0).any(0))[0]
    at = np.column_stack([person.rest_vertices[kept], np.ones(len(kept), np.float32)])
    pulled = weights[kept]
    terms = np.stack([(regressor[:, kept] * at[:, a]) @ pulled for a in range(4)], -1)
    return terms.astype(np.float32)
