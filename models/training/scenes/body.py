"""Bodies as plain arrays: a rest shape, joints that bend it, a skin, keypoints and spheres.

`cast` makes a varied set of people; `save_cast` and `load_cast` carry them to machines without
Anny. World: z up, metres, the mat at 0. At rest a body faces −y and its left is at +x.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy import sparse

from pipeline.errors import MatlineError

from .arrays_file import write_arrays
from .articulation import Articulation, articulate, cross_matrices
from .joints import HIGH, JOINT_INDEX, JOINT_NAMES, JOINTS, LOW, Joint, mirror_joints, other_side
from .pose import BodyPose
from .spheres import Spheres, build_spheres

__all__ = [
    "HIGH", "JOINTS", "JOINT_INDEX", "JOINT_NAMES", "LOW", "BonePose", "Joint", "Person",
    "Topology", "cast", "load_cast", "mirror_joints", "save_cast",
]  # fmt: skip


class BonePose(NamedTuple):
    """Where each bone is.

    Attributes
    ----------
    rotation : ndarray, (..., J, 3, 3)
        From the rest shape to the world.
    head : ndarray, (..., J, 3)
        Metres.
    """

    rotation: np.ndarray
    head: np.ndarray


@dataclass(frozen=True, eq=False)
class Topology:
    """What all bodies of a cast share.

    Attributes
    ----------
    bones : tuple of str, length J
    parents : ndarray, int, (J,)
        −1 for the root; a parent comes before its children.
    weight_bones, weights : ndarray, (V, K)
        Which bones pull at each vertex, and how much (rows sum to 1).
    faces : ndarray, int, (F, 3)
        Triangles of skin, eyes and mouth.
    helpers : dict of str to ndarray, int, (n, 3)
        Triangles of wearable shells: ``helper-tights``, ``helper-skirt``, ``helper-hair``.
    groups : dict of str to ndarray, int
        Vertices of ``body`` (the skin) and of each helper.
    keypoint_weights : ndarray, (17, V)
        COCO keypoints = keypoint_weights @ vertices.
    """

    bones: tuple[str, ...]
    parents: np.ndarray
    weight_bones: np.ndarray
    weights: np.ndarray
    faces: np.ndarray
    helpers: dict[str, np.ndarray]
    groups: dict[str, np.ndarray]
    keypoint_weights: np.ndarray

    @functools.cached_property
    def bone_index(self) -> dict[str, int]:
        """Row of each bone by name."""
        return {name: i for i, name in enumerate(self.bones)}

    @functools.cached_property
    def skinning(self) -> sparse.csr_matrix:
        """Skinning weights, sparse (V, J)."""
        vertex = np.repeat(np.arange(len(self.weights)), self.weights.shape[1])
        entries = (self.weights.ravel(), (vertex, self.weight_bones.ravel()))
        matrix = sparse.csr_matrix(entries, shape=(len(self.weights), len(self.bones)))
        matrix.eliminate_zeros()
        return matrix

    @functools.cached_property
    def keypoint_regressor(self) -> sparse.csr_matrix:
        """Keypoint weights, sparse (17, V)."""
        return sparse.csr_matrix(self.keypoint_weights)

    @functools.cached_property
    def skin_faces(self) -> np.ndarray:
        """Triangles of the outer skin only, without eyes and mouth."""
        return self.faces[(self.faces < self.skin_size).all(1)]

    @property
    def skin_size(self) -> int:
        """Number of skin vertices; they come first."""
        return len(self.groups["body"])

    def symmetric(self, heads: np.ndarray) -> np.ndarray:
        """Return rest bone heads (J, 3) made exactly symmetric, so that mirroring is exact."""
        swap = [self.bone_index[other_side(name)] for name in self.bones]
        return ((heads + heads[swap] * np.array([-1, 1, 1])) / 2).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Person:
    """One body.

    Attributes
    ----------
    topology : Topology
    rest_heads : ndarray, float32, (J, 3)
        Bones' heads in the rest shape, metres.
    rest_vertices : ndarray, float32, (V, 3)
        Skin, eyes and helpers in the rest shape, metres.
    shape : mapping
        The phenotype it was made from.
    """

    topology: Topology
    rest_heads: np.ndarray
    rest_vertices: np.ndarray
    shape: Mapping[str, float] = field(default_factory=dict)

    @functools.cached_property
    def height(self) -> float:
        """Stature in metres."""
        return float(np.ptp(self.rest_vertices[: self.topology.skin_size, 2]))

    @functools.cached_property
    def articulation(self) -> Articulation:
        """Axes and joint weights of every bone."""
        return articulate(self.topology.bones, self.rest_heads)

    @functools.cached_property
    def spheres(self) -> Spheres:
        """Sphere proxies of the rest shape."""
        skin = self.topology.skin_size
        weights = self.topology.skinning[:skin].toarray()
        return build_spheres(
            self.topology.bones, self.rest_heads, self.rest_vertices[:skin], weights
        )

    @functools.cached_property
    def _turns(self) -> tuple[np.ndarray, np.ndarray]:
        cross = cross_matrices(self.articulation.axes)
        return cross, cross @ cross

    def fk(self, joints: np.ndarray, rotation: np.ndarray, translation: np.ndarray) -> BonePose:
        """Bend the skeleton.

        Parameters
        ----------
        joints : ndarray, (..., n)
            Radians, order of `JOINTS`.
        rotation : ndarray, (..., 3, 3)
            Of the pelvis; columns are the body's axes in the world.
        translation : ndarray, (..., 3)
            Of the pelvis joint, metres.

        Returns
        -------
        BonePose
        """
        cross, squared = self._turns
        angle = np.tensordot(joints, self.articulation.mix, 1)[..., None, None]
        turn = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * squared
        local = turn[..., 0, :, :] @ turn[..., 1, :, :] @ turn[..., 2, :, :]
        rotations: list[np.ndarray] = []
        heads: list[np.ndarray] = []
        for bone, parent in enumerate(self.topology.parents):
            if parent < 0:
                above, head = np.asarray(rotation), np.asarray(translation)
            else:
                above = rotations[parent]
                head = heads[parent] + above @ (self.rest_heads[bone] - self.rest_heads[parent])
            rotations.append(above @ local[..., bone, :, :])
            heads.append(head)
        return BonePose(
            np.stack(rotations, -3).astype(np.float32), np.stack(heads, -2).astype(np.float32)
        )

    def skin(self, bones: BonePose) -> np.ndarray:
        """Linear blend skinning of all vertices, helpers included.

        Returns
        -------
        ndarray, float32, (..., V, 3)
            Metres.
        """
        shift = bones.head - np.einsum("...jab,jb->...ja", bones.rotation, self.rest_heads)
        affine = np.concatenate([bones.rotation, shift[..., None]], -1)
        lead = affine.shape[:-3]
        flat = affine.reshape(-1, len(self.topology.bones), 12)
        out = np.empty((len(flat), *self.rest_vertices.shape), np.float32)
        for i, bone_affine in enumerate(flat):
            blend = (self.topology.skinning @ bone_affine).reshape(-1, 3, 4)
            out[i] = np.einsum("vab,vb->va", blend[..., :3], self.rest_vertices) + blend[..., 3]
        return out.reshape(*lead, *self.rest_vertices.shape)

    def vertices(self, pose: BodyPose) -> np.ndarray:
        """Return all vertices (V, 3) of one pose, metres."""
        return self.skin(self.fk(pose.joints, pose.rotation, pose.translation))

    def keypoints(self, vertices: np.ndarray) -> np.ndarray:
        """Return the COCO keypoints (17, 3) of vertices (V, 3)."""
        return np.asarray(self.topology.keypoint_regressor @ vertices, np.float32)

    def sphere_centres(self, bones: BonePose) -> np.ndarray:
        """Return the posed sphere centres, (..., S, 3) metres."""
        ball = self.spheres
        arm = ball.centres - self.rest_heads[ball.bones]
        turned = np.einsum("...sab,sb->...sa", bones.rotation[..., ball.bones, :, :], arm)
        return bones.head[..., ball.bones, :] + turned


def _draw_shape(rng: np.random.Generator) -> dict[str, float]:
    """Draw one phenotype: two thirds men, one in six a teenager, all builds that compete."""
    woman = rng.random() < 0.35
    teenager = rng.random() < 1 / 6
    return {
        "gender": float(np.clip(woman + rng.normal(0, 0.05), 0, 1)),
        # Anny: 1/3 is a child, 2/3 a young adult, 1 old.
        "age": float(rng.uniform(0.52, 0.60) if teenager else rng.uniform(0.62, 0.82)),
        "muscle": float(rng.uniform(0.40, 0.90)),
        "weight": float(rng.uniform(0.32, 0.85)),
        # Heights run large: 0.35 is about 1.74 m for a man.
        "height": float(rng.uniform(0.23, 0.53) + 0.06 * woman),
        "proportions": float(rng.uniform(0.25, 0.75)),
    }


def cast(n: int = 48, seed: int = 0) -> list[Person]:
    """Make people of varied gender, age, height, weight, muscle and proportions.

    Parameters
    ----------
    n : int
    seed : int
        The same seed gives the same people; the first k of n are those of ``cast(k, seed)``.

    Returns
    -------
    list of Person

    Raises
    ------
    MatlineError
        If Anny or PyTorch is not installed.
    """
    from .anny_source import make_person

    rng = np.random.default_rng(seed)
    return [make_person(_draw_shape(rng)) for _ in range(n)]


# Rest vertices are stored as whole twentieths of a millimetre: as small as half floats, and
# smooth enough for shading (a half float steps by 0.5 mm at arm's length from the origin).
_STEP_M = 5e-5
_SHARED = ("parents", "weight_bones", "weights", "faces")
_SHAPE_KEYS = ("gender", "age", "muscle", "weight", "height", "proportions")


def save_cast(path: str | Path, people: Sequence[Person]) -> None:
    """Write a cast as one ``.npz`` without pickles; what all share is written once.

    Parameters
    ----------
    path : str or Path
    people : sequence of Person
        At least one, all of one topology.
    """
    shared = people[0].topology
    sparse_keypoints = shared.keypoint_regressor.tocoo()
    arrays: dict[str, np.ndarray] = {
        "bones": np.array(shared.bones),
        **{name: getattr(shared, name) for name in _SHARED},
        "keypoint_row": sparse_keypoints.row.astype(np.uint8),
        "keypoint_vertex": sparse_keypoints.col.astype(np.uint16),
        "keypoint_weight": sparse_keypoints.data,
        **{f"helper/{name}": faces for name, faces in shared.helpers.items()},
        **{f"group/{name}": rows for name, rows in shared.groups.items()},
        "rest_heads": np.stack([p.rest_heads for p in people]),
        "rest_vertices": np.stack(
            [np.round(p.rest_vertices / _STEP_M).astype(np.int16) for p in people]
        ),
        "shapes": np.array([[p.shape.get(k, np.nan) for k in _SHAPE_KEYS] for p in people]),
    }
    write_arrays(path, arrays)


def check_cast(path: str | Path) -> None:
    """Raise a MatlineError if there is no cast at a path, before workers are started for it."""
    if not Path(path).is_file():
        raise MatlineError(
            f"There is no cast at {path}: make one with "
            "python -m models.training.scenes positions cast --out FILE."
        )


def load_cast(path: str | Path) -> list[Person]:
    """Read a cast that `save_cast` wrote; needs neither Anny nor PyTorch.

    Raises
    ------
    MatlineError
        If the file is missing or is not a cast.
    """
    check_cast(path)
    try:
        with np.load(path, allow_pickle=False) as stored:
            data = {name: stored[name] for name in stored.files}
        shared = _topology_of(data)
        heads, shapes = data["rest_heads"], data["shapes"]
        vertices = data["rest_vertices"].astype(np.float32) * np.float32(_STEP_M)
    except (KeyError, ValueError, OSError) as error:
        raise MatlineError(f"{path} is not a saved cast ({error}): make it again.") from error
    return [
        Person(
            shared, heads[i], vertices[i], dict(zip(_SHAPE_KEYS, shapes[i].tolist(), strict=True))
        )
        for i in range(len(heads))
    ]


def _topology_of(data: Mapping[str, np.ndarray]) -> Topology:
    keypoints = np.zeros((17, len(data["weights"])), np.float32)
    keypoints[data["keypoint_row"], data["keypoint_vertex"]] = data["keypoint_weight"]

    def named(prefix: str) -> dict[str, np.ndarray]:
        return {k.removeprefix(prefix): v for k, v in data.items() if k.startswith(prefix)}

    return Topology(
        bones=tuple(str(name) for name in data["bones"]),
        parents=data["parents"],
        weight_bones=data["weight_bones"],
        weights=data["weights"],
        faces=data["faces"],
        helpers=named("helper/"),
        groups=named("group/"),
        keypoint_weights=keypoints,
    )
