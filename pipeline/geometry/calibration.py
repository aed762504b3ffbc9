"""Four mat corners in the picture → metres on the mat, the camera's tilt and a true vertical."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import MatlineError


@dataclass(frozen=True)
class MatCalibration:
    """A camera looking at a flat mat, without lens distortion.

    Mat coordinates: metres, X along the first side (corner 0 → 1), Y along the second
    (corner 1 → 2), Z up from the mat.

    Attributes
    ----------
    homography : ndarray, (3, 3)
        Mat plane (X, Y, 1) → picture.
    focal_px : float
        Focal length in pixels, square pixels assumed.
    centre : ndarray, (2,)
        Principal point, taken to be the middle of the picture.
    rotation, translation : ndarray, (3, 3) and (3,)
        Mat → camera (x right, y down, z forward), metres.
    focal_estimated : bool
        False if the view gave no focal length (mat seen square on) and a usual one was used.
    """

    homography: np.ndarray
    focal_px: float
    centre: np.ndarray
    rotation: np.ndarray
    translation: np.ndarray
    focal_estimated: bool = True

    @classmethod
    def from_corners(
        cls,
        corners: np.ndarray,
        size_m: tuple[float, float],
        picture: tuple[int, int],
        focal_px: float | None = None,
    ) -> MatCalibration:
        """Calibrate from the four corners of a mat.

        Parameters
        ----------
        corners : array_like, (4, 2)
            Pixels, around the mat (either way round).
        size_m : (float, float)
            Metres of the sides corner 0 → 1 and corner 1 → 2. Published rule books give
            8 to 10 m a side.
        picture : (int, int)
            Width and height in pixels.
        focal_px : float, optional
            If known; else estimated from the view.

        Raises
        ------
        MatlineError
            If the corners don't outline a convex quadrilateral or a size is not positive.
        """
        corners = np.asarray(corners, dtype=np.float64)
        _check_corners(corners, size_m)
        width, depth = size_m
        plane = np.array([[0, 0], [width, 0], [width, depth], [0, depth]], dtype=np.float64)
        centre = np.array([picture[0] / 2, picture[1] / 2])
        homography = homography_from_points(plane, corners)
        estimated = focal_from_homography(homography, centre) if focal_px is None else focal_px
        focal = estimated if estimated is not None else 1.2 * max(picture)
        rotation, translation = _pose(homography, focal, centre)
        return cls(homography, float(focal), centre, rotation, translation, estimated is not None)

    @property
    def tilt_degrees(self) -> float:
        """How far the camera looks down: 0 level, 90 straight down."""
        forward = self.rotation[2]  # camera z axis in mat coordinates
        return float(np.degrees(np.arcsin(np.clip(-forward[2] * self._up_sign, -1, 1))))

    @property
    def camera_m(self) -> np.ndarray:
        """Where the camera is: X, Y, height over the mat, metres."""
        place = -self.rotation.T @ self.translation
        return np.array([place[0], place[1], place[2] * self._up_sign])

    @property
    def _up_sign(self) -> float:
        # With corners clicked clockwise seen from above, the right-handed Z points into the
        # floor; the camera is always above it.
        return 1.0 if (-self.rotation.T @ self.translation)[2] > 0 else -1.0

    def to_mat(self, points: np.ndarray) -> np.ndarray:
        """Return metres on the mat, (..., 2), of picture points (..., 2) that lie on it."""
        return _apply(np.linalg.inv(self.homography), points)

    def to_picture(self, metres: np.ndarray) -> np.ndarray:
        """Return pixels, (..., 2), of points (..., 3) in metres: X, Y, height over the mat."""
        metres = np.asarray(metres, dtype=np.float64) * np.array([1, 1, self._up_sign])
        camera = metres @ self.rotation.T + self.translation
        return self.centre + self.focal_px * camera[..., :2] / camera[..., 2:]

    def vertical_at(self, points: np.ndarray) -> np.ndarray:
        """Return the picture direction of true up, unit (..., 2), at points on the mat."""
        ground = self.to_mat(points)
        above = np.concatenate([ground, np.full((*ground.shape[:-1], 1), 0.5)], axis=-1)
        up = self.to_picture(above) - points
        with np.errstate(invalid="ignore", divide="ignore"):
            return up / np.linalg.norm(up, axis=-1, keepdims=True)

    def height_over(self, points: np.ndarray, feet: np.ndarray) -> np.ndarray:
        """Return metres over the mat of picture points that stand above picture points `feet`.

        The answer is the height whose picture lies nearest to the point, for a point on the
        vertical through its foot it is exact.
        """
        ground = self.to_mat(np.broadcast_to(feet, points.shape))
        base = np.concatenate([ground, np.zeros((*ground.shape[:-1], 1))], axis=-1)
        base = base @ self.rotation.T + self.translation
        up = self.rotation[:, 2] * self._up_sign
        target = (points - self.centre) / self.focal_px
        # (base + h up)_xy = target · (base + h up)_z is linear in h: least squares over x, y.
        slope = up[:2] - target * up[2]
        offset = target * base[..., 2:] - base[..., :2]
        return (slope * offset).sum(axis=-1) / (slope * slope).sum(axis=-1)

    def support(self, points: np.ndarray) -> np.ndarray:
        """Return the picture point (T, 2) where the pair meets the mat.

        Parameters
        ----------
        points : ndarray, (T, 2, 17, 2)

        Returns
        -------
        ndarray, (T, 2)
            Under the middle of the pair, at its lowest keypoint; NaN where nobody is seen.
        """
        flat = points.reshape(len(points), -1, 2)
        seen = np.isfinite(flat).all(axis=-1).any(axis=-1)
        result = np.full((len(points), 2), np.nan)
        lowest = np.where(np.isnan(flat[..., 1]), -np.inf, flat[..., 1])
        result[seen, 1] = lowest[seen].max(axis=1)
        result[seen, 0] = [np.nanmedian(row) for row in flat[seen, :, 0]]
        return result

    def upright(self, points: np.ndarray) -> np.ndarray:
        """Turn each sample's picture so that true up at the pair is picture-up.

        Parameters
        ----------
        points : ndarray, (T, 2, 17, 2)

        Returns
        -------
        ndarray, (T, 2, 17, 2)
        """
        foot = self.support(points)
        up = self.vertical_at(foot)
        # Rotation that takes `up` to (0, −1).
        cos, sin = -up[:, 1], -up[:, 0]
        x, y = np.moveaxis(points - foot[:, None, None], -1, 0)
        cos, sin = cos[:, None, None], sin[:, None, None]
        turned = np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1)
        return turned + foot[:, None, None]


def homography_from_points(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Return the homography (3, 3) that maps four or more points, by the direct linear transform.

    Source: Hartley & Zisserman, Multiple View Geometry, algorithm 4.2 (normalised).
    """
    n_source, n_target = _normaliser(source), _normaliser(target)
    rows = []
    for (x, y), (u, v) in zip(_apply(n_source, source), _apply(n_target, target), strict=True):
        rows.append([-x, -y, -1, 0, 0, 0, u * x, u * y, u])
        rows.append([0, 0, 0, -x, -y, -1, v * x, v * y, v])
    solution = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    homography = np.linalg.inv(n_target) @ solution @ n_source
    return homography / homography[2, 2]


def focal_from_homography(homography: np.ndarray, centre: np.ndarray) -> float | None:
    """Return the focal length in pixels that makes the plane's axes orthogonal and equal.

    Source: Zhang (2000), A flexible new technique for camera calibration: h1ᵀωh2 = 0 and
    h1ᵀωh1 = h2ᵀωh2 for square pixels and a known principal point. None where the view gives
    no answer (camera square on the plane).
    """
    shift = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1]])
    h = shift @ homography
    h = h / np.linalg.norm(h[:, :2])
    (a1, b1, c1), (a2, b2, c2) = h[:, 0], h[:, 1]
    # Both conditions read  s · (1/f²) + t = 0; solved together by least squares.
    s = np.array([a1 * a2 + b1 * b2, a1**2 + b1**2 - a2**2 - b2**2])
    t = np.array([c1 * c2, c1**2 - c2**2])
    inverse_square = -(s @ t) / (s @ s)
    if inverse_square <= 1e-12 * float(np.max(np.abs(centre))) ** -2:
        return None
    return float(1 / np.sqrt(inverse_square))


def _pose(
    homography: np.ndarray, focal: float, centre: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    camera = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])
    m = np.linalg.inv(camera) @ homography
    m = m * (2 / (np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])))
    if m[2, 2] < 0:  # the mat is in front of the camera
        m = -m
    rough = np.column_stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])])
    u, _, vt = np.linalg.svd(rough)
    return u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt, m[:, 2]


def _apply(homography: np.ndarray, points: np.ndarray) -> np.ndarray:
    points = np.asarray(points, dtype=np.float64)
    mapped = points @ homography[:, :2].T + homography[:, 2]
    with np.errstate(invalid="ignore", divide="ignore"):
        return mapped[..., :2] / mapped[..., 2:]


def _normaliser(points: np.ndarray) -> np.ndarray:
    middle = points.mean(axis=0)
    scale = np.sqrt(2) / np.linalg.norm(points - middle, axis=1).mean()
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])


def _check_corners(corners: np.ndarray, size_m: tuple[float, float]) -> None:
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise MatlineError(
            f"Mat calibration: give four corners as x, y pixels, not an array {corners.shape}."
        )
    if not (size_m[0] > 0 and size_m[1] > 0):
        raise MatlineError(f"Mat calibration: the mat's sides {size_m} m must be above 0.")
    sides = np.roll(corners, -1, axis=0) - corners
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if not ((turns > 1e-6).all() or (turns < -1e-6).all()):
        raise MatlineError(
            "Mat calibration: the four corners must go around the mat in order, without three "
            "on one line; mark them again one after the other along the edge."
        )
