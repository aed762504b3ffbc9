"""Pictures and videos → the skeletons in them, without saying who is who."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.bodies import Body, BodyReader, Region, RegionTracker
from pipeline.bodies.pair import PairReader
from pipeline.errors import MatlineError
from pipeline.footage import PICTURE_SUFFIXES, Footage, read_picture
from pipeline.outputs.coco import Picture


@dataclass(frozen=True)
class Regions:
    """Where the pair is: one region for every picture, or those of each file.

    Attributes
    ----------
    everywhere : Region or None
    of_file : dict of str to list of Region
        By the path as written in the CSV.
    """

    everywhere: Region | None
    of_file: dict[str, list[Region]]

    def of(self, path: Path) -> list[Region]:
        """Return the regions of a file.

        Raises
        ------
        MatlineError
            If the CSV has none for it.
        """
        if self.everywhere is not None:
            return [self.everywhere]
        found = self.of_file.get(str(path)) or self.of_file.get(path.name)
        if not found:
            raise MatlineError(f"{path}: the CSV of regions has no line for this file.")
        return found


def parse_regions(text: str) -> Regions:
    """Read ``x0,y0,x1,y1``, or a CSV file with the columns file, x0, y0, x1, y1.

    Raises
    ------
    MatlineError
        Says what, or which line, is wrong.
    """
    if Path(text).suffix.lower() == ".csv":
        return Regions(None, _regions_in(Path(text)))
    return Regions(_region(text.split(","), f"--pair-region {text}"), {})


def read_skeletons(
    files: Sequence[Path],
    reader: BodyReader,
    regions: Regions | None = None,
    rate_hz: float | None = None,
    progress: Callable[[float, float, str], None] | None = None,
) -> list[Picture]:
    """Read everyone, or the pair of a region, in each picture.

    Parameters
    ----------
    files : sequence of Path
        Pictures and videos.
    reader : BodyReader
    regions : Regions, optional
        Read exactly two bodies in each region.
    rate_hz : float, optional
        Pictures a second of a video.
    progress : callable, optional
        Gets files done, files in all, and the file's name.

    Raises
    ------
    MatlineError
        If a file can't be read, or the reader can't read a pair.
    """
    found: list[Picture] = []
    for number, path in enumerate(files):
        if progress is not None:
            progress(number, len(files), path.name)
        if path.suffix.lower() in PICTURE_SUFFIXES:
            found.append(_of_picture(path, reader, regions))
        else:
            found += _of_video(path, reader, regions, rate_hz)
    return found


def _of_picture(path: Path, reader: BodyReader, regions: Regions | None) -> Picture:
    image = read_picture(path)
    height, width = image.shape[:2]
    if regions is None:
        bodies = reader.read(image).bodies
    else:
        pairs = (_pair(reader, image, region) for region in regions.of(path))
        bodies = tuple(body for pair in pairs for body in pair)
    return Picture(str(path), width, height, bodies)


def _of_video(
    path: Path, reader: BodyReader, regions: Regions | None, rate_hz: float | None
) -> Iterator[Picture]:
    tracker = RegionTracker()
    if regions is not None:
        tracker.region = regions.of(path)[0]
    for number, frame in enumerate(Footage.open(path).frames(rate_hz)):
        height, width = frame.image.shape[:2]
        look = tracker.read(reader, frame.image)
        yield Picture(f"{path}#{number}", width, height, look.bodies, frame.time_s)


def _pair(reader: BodyReader, image: np.ndarray, region: Region) -> tuple[Body, ...]:
    """Return the two bodies of a region; fewer only if the reader is none of pairs."""
    if isinstance(reader, PairReader):
        reading = reader.read_pair(image, region)
        return tuple(
            Body(points, float(points[:, 2].mean()), hidden)
            for points, hidden in zip(reading.keypoints, reading.hidden, strict=True)
        )
    return tuple(sorted(reader.read(image, region).bodies, key=lambda body: -body.score)[:2])


def _regions_in(path: Path) -> dict[str, list[Region]]:
    found: dict[str, list[Region]] = {}
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            lines = csv.DictReader(file)
            missing = {"file", "x0", "y0", "x1", "y1"} - set(lines.fieldnames or ())
            if missing:
                raise MatlineError(f"{path}: the column {min(missing)} is missing.")
            for line in lines:
                numbers = [line[name] or "" for name in ("x0", "y0", "x1", "y1")]
                region = _region(numbers, f"{path}, line {lines.line_num}")
                found.setdefault(line["file"], []).append(region)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise MatlineError(f"Can't read {path}: {error}.") from error
    return found


def _region(numbers: Sequence[str], where: str) -> Region:
    try:
        x0, y0, x1, y1 = (float(number) for number in numbers)
    except ValueError:
        raise MatlineError(f"{where}: a region is four numbers, x0, y0, x1, y1.") from None
    if not (math.isfinite(x0 + y0 + x1 + y1) and x0 < x1 and y0 < y1):
        raise MatlineError(f"{where}: x1 must be right of x0, and y1 below y0.")
    return Region(x0, y0, x1, y1)
