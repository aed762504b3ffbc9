"""The skeleton and sphere proxies of many people at once, in PyTorch, on any device.

Bones that no joint turns are folded into the nearest bone above that one does, which is exact
and makes the chain short; bones that carry no sphere are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import torch
from torch import Tensor

from .articulation import cross_matrices
from .body import Person
from .spheres import may_touch_itself


class PosedSpheres(NamedTuple):
    """Spheres of N bodies in the world.

    Attributes
    ----------
    centre : Tensor, (N, S, 3)
        Metres.
    rotation : Tensor, (N, S, 3, 3)
        Of the bone each rides on.
    """

    centre: Tensor
    rotation: Tensor


class Rig:
    """Forward kinematics of the sphere proxies for a batch in which everyone is someone else.

    Parameters
    ----------
    people : sequence of Person
        The cast, of one topology.
    device : str or torch.device
    """

    def __init__(self, people: Sequence[Person], device: str | torch.device = "cpu"):
        first = people[0]
        articulation, spheres = first.articulation, first.spheres
        parents = first.topology.parents
        turned = (articulation.mix != 0).any((0, 2))
        turned[0] = True

        def carrier(bone: int) -> int:
            while not turned[bone]:
                bone = int(parents[bone])
            return bone

        carriers = [carrier(int(bone)) for bone in spheres.bones]
        kept: set[int] = set()
        for bone in carriers:
            while bone not in kept:
                kept.add(bone)
                if bone:
                    bone = carrier(int(parents[bone]))
        bones = sorted(kept)
        above = [bones.index(carrier(int(parents[bone]))) if bone else -1 for bone in bones]
        depth = [0] * len(bones)
        for i in range(1, len(bones)):
            depth[i] = depth[above[i]] + 1
        levels = [[i for i, d in enumerate(depth) if d == k] for k in range(max(depth) + 1)]
        order = [i for level in levels for i in level]

        self.device = torch.device(device)
        self.names = spheres.names
        self.self_pairs = torch.as_tensor(may_touch_itself(spheres.parts).T.copy(), device=device)
        self._levels = [torch.tensor(level, device=device) for level in levels]
        self._above = [
            torch.tensor([levels[k - 1].index(above[i]) for i in level], device=device)
            for k, level in enumerate(levels)
            if k
        ]
        self._order = torch.tensor(np.argsort(order), device=device)
        self._sphere_bone = torch.tensor([bones.index(c) for c in carriers], device=device)
        self._mix = self._tensor(articulation.mix[:, bones])
        heads = np.stack([p.rest_heads[bones] for p in people])
        self._offset = self._tensor(heads - heads[:, above] * (np.array(above) >= 0)[:, None])
        self._arm = self._tensor(
            np.stack([p.spheres.centres - p.rest_heads[carriers] for p in people])
        )
        self._cross = self._tensor(
            np.stack([cross_matrices(p.articulation.axes[bones]) for p in people])
        )
        self.radius = self._tensor(np.stack([p.spheres.radii for p in people]))

    def _tensor(self, array: np.ndarray) -> Tensor:
        return torch.as_tensor(array, dtype=torch.float32, device=self.device)

    def select(self, who: Tensor) -> Selection:
        """Return the rigs of the people of a batch.

        Parameters
        ----------
        who : Tensor, int, (N,)
        """
        cross = self._cross[who]
        return Selection(
            self, self._offset[who], self._arm[who], cross, cross @ cross, self.radius[who]
        )


class Selection(NamedTuple):
    """The rigs of N people, ready to be posed."""

    rig: Rig
    offset: Tensor
    arm: Tensor
    cross: Tensor
    squared: Tensor
    radius: Tensor

    def pose(self, joints: Tensor, rotation: Tensor, translation: Tensor) -> PosedSpheres:
        """Place the spheres.

        Parameters
        ----------
        joints : Tensor, (N, n)
            Radians.
        rotation : Tensor, (N, 3, 3)
        translation : Tensor, (N, 3)
            Of the pelvis joint, metres.
        """
        rig = self.rig
        angle = torch.einsum("nj,jba->nba", joints, rig._mix)[..., None, None]
        eye = torch.eye(3, device=joints.device)
        turn = eye + torch.sin(angle) * self.cross + (1 - torch.cos(angle)) * self.squared
        local = turn[:, :, 0] @ turn[:, :, 1] @ turn[:, :, 2]
        rotations = [rotation[:, None] @ local[:, rig._levels[0]]]
        heads = [translation[:, None]]
        for level, above in zip(rig._levels[1:], rig._above, strict=True):
            parent = rotations[-1][:, above]
            step = (parent @ self.offset[:, level, :, None])[..., 0]
            heads.append(heads[-1][:, above] + step)
            rotations.append(parent @ local[:, level])
        bone_rotation = torch.cat(rotations, 1)[:, rig._order][:, rig._sphere_bone]
        bone_head = torch.cat(heads, 1)[:, rig._order][:, rig._sphere_bone]
        centre = bone_head + (bone_rotation @ self.arm[..., None])[..., 0]
        return PosedSpheres(centre, bone_rotation)


def turn_by(vector: Tensor) -> Tensor:
    """Rotation matrices of rotation vectors (N, 3), by Rodrigues' formula."""
    angle = vector.norm(dim=-1, keepdim=True).clamp(min=1e-8)
    x, y, z = (vector / angle).unbind(-1)
    zero = torch.zeros_like(x)
    cross = torch.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).unflatten(-1, (3, 3))
    angle = angle[..., None]
    eye = torch.eye(3, device=vector.device)
    return eye + torch.sin(angle) * cross + (1 - torch.cos(angle)) * (cross @ cross)
