"""Panoramas of real halls, rooms and streets, as shared under CC0 in packages, cut into views."""

from __future__ import annotations

import base64
import re
import tempfile

import cv2
import numpy as np

from pipeline.errors import MatlineError

_EMBEDDED = re.compile(rb"base64,([A-Za-z0-9+/=]+)")


def read_panorama(data: bytes) -> np.ndarray:
    """Decode an OpenEXR panorama, given plain or embedded as base64 in a script.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    ndarray, uint8, (H, 2H, 3)
        RGB, developed as a camera would.

    Raises
    ------
    KeyError
        If it has no red, green and blue.
    MatlineError
        If the package OpenEXR is missing (OpenCV is built without the compression they use).
    """
    try:
        import OpenEXR
    except ImportError as error:
        raise MatlineError(
            "Reading panoramas needs OpenEXR, which is not installed: run pip install OpenEXR."
        ) from error
    embedded = _EMBEDDED.search(data)
    with tempfile.NamedTemporaryFile(suffix=".exr") as file:
        file.write(base64.b64decode(embedded[1]) if embedded else data)
        file.flush()
        channels = OpenEXR.File(file.name).channels()
        whole = next((c for c in ("RGB", "RGBA") if c in channels), None)
        light = (
            channels[whole].pixels if whole else np.stack([channels[c].pixels for c in "RGB"], -1)
        )
    return _develop(np.nan_to_num(light[..., :3].astype(np.float32), posinf=1e4).clip(0, 1e4))


def view(
    panorama: np.ndarray, yaw: float, pitch: float, fov: float, size: tuple[int, int]
) -> np.ndarray:
    """Look into a panorama as a camera would.

    Parameters
    ----------
    panorama : ndarray, uint8, (H, 2H, 3)
    yaw, pitch, fov : float
        Degrees; pitch up, field of view across.
    size : (int, int)
        Width and height in pixels.

    Returns
    -------
    ndarray, uint8, (height, width, 3)
    """
    w, h = size
    focal = w / 2 / np.tan(np.radians(fov) / 2)
    x, y = np.meshgrid((np.arange(w) + 0.5 - w / 2) / focal, (np.arange(h) + 0.5 - h / 2) / focal)
    p = np.radians(pitch)
    forward, down = np.cos(p) + y * np.sin(p), y * np.cos(p) - np.sin(p)
    longitude = np.arctan2(x, forward) + np.radians(yaw)
    latitude = np.arctan2(down, np.hypot(x, forward))
    ph, pw = panorama.shape[:2]
    u = ((longitude / (2 * np.pi) + 0.5) % 1.0) * pw - 0.5
    v = (latitude / np.pi + 0.5) * ph - 0.5
    maps = u.astype(np.float32), v.astype(np.float32)
    return cv2.remap(panorama, *maps, cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP)


def is_panorama(name: str) -> bool:
    """Whether a file of a package holds one."""
    return name.endswith((".exr", ".exr.js"))


def _develop(light: np.ndarray) -> np.ndarray:
    exposed = light / (np.percentile(light.mean(2), 70) + 1e-6) * 0.55
    toned = exposed * (1 + 0.06 * exposed) / (1 + 0.55 * exposed) * 1.25
    return (np.clip(toned, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)
