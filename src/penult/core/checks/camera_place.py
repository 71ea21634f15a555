"""Does the camera stand where a lane without a still was calibrated? Told by the lane's own marks in the clip. Pure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.errors import ViewError
from penult.model.analysis import Notice
from penult.model.arrays import Floats

IN_PLACE_PX = 4.0
"""Of a picture 1920 pixels wide: marks are clicked to a pixel and an edge has its width. On 24 films with known truth the outline
is clearest up to 4 pixels aside."""

CLEAR = 0.55
"""An outline counts as seen where its least clear side and a quarter of the mean of all four come to this, each side against the
clearest edge about: 0.6 to 1.2 on 24 films that show their board, 0.26 to 0.40 on four that have it covered, or elsewhere."""

IN_PLACE, ELSEWHERE = 0.8, 0.65
"""Where the outline is as clear at its place as this share of the clearest place about it, it stands there (sound films: 0.94 and
more); where it is less, elsewhere (12 pixels aside or zoomed by 3 %: 0.1 to 0.61). Between the two nobody can tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A rectangle on the ground: what it is called, and its corners (4, 2) in pixels, one after the other."""

    name: str
    corners_px: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksSeen:
    """Marks of the lane found in the clip: what they are, whether they are where the lane file says, and by how much not (x, y)."""

    what: str
    in_place: bool
    off_px: tuple[float, float]


def marks_seen(what: str, found: Floats, per_px: float) -> MarksSeen | None:
    """Return where marks are, None where nobody can tell.

    Parameters
    ----------
    what : str
        What they are called.
    found : (n, 2) or (4, m, m) float64
        By how much points are off, or how clearly each side of an outline is seen at every shift about its place.
    per_px : float
        The picture's width over 1920.
    """
    if found.ndim == 2:
        off = np.median(found, axis=0)
        far = float(np.sqrt(np.mean(np.sum(found**2, axis=1))))
        return MarksSeen(what=what, in_place=far <= IN_PLACE_PX * per_px, off_px=(float(off[0]), float(off[1])))
    share = found / np.maximum(found.max(axis=(1, 2), keepdims=True), 1e-9)
    clear = share.min(axis=0) + 0.25 * share.mean(axis=0)
    reach = found.shape[1] // 2
    row, column = np.unravel_index(int(clear.argmax()), clear.shape)
    if clear[row, column] < CLEAR:
        return None
    near = max(int(IN_PLACE_PX * per_px), 1)
    here = float(clear[reach - near : reach + near + 1, reach - near : reach + near + 1].max() / clear[row, column])
    if ELSEWHERE <= here < IN_PLACE:
        return None
    off_px = (float(column - reach), float(row - reach))
    return MarksSeen(what=what, in_place=here >= IN_PLACE, off_px=off_px)


def refuse_elsewhere(seen: MarksSeen | None) -> None:
    """Refuse a clip that shows the lane's marks at other places than the lane file says.

    Raises
    ------
    ViewError
        With how far they are off.
    """
    if seen is None or seen.in_place:
        return
    x, y = (round(v) for v in seen.off_px)
    raise ViewError(
        "the camera does not stand where the lane file was made, or its zoom is another",
        f"{seen.what}: seen {abs(x)} px to the {'right' if x > 0 else 'left'} and {abs(y)} px {'below' if y > 0 else 'above'} "
        "where the lane file says",
        next_step="calibrate from a picture of this very setting (penult calibrate), and keep the picture beside the lane file",
    )


def camera_unchecked(still: str | None, seen: MarksSeen | None = None) -> Notice | None:
    """Return the warning that a lane file without a still hardly shows whether the camera stood where it was calibrated."""
    if still is not None:
        return None
    then = "Calibrate from a picture of this very setting, and keep the picture beside the lane file"
    if seen is not None:
        are = "are" if seen.what.endswith("s") else "is"
        text = f"the lane file has no still, but its {seen.what} {are} seen where it says: a knock would show, a zoom about it"
        return Notice(code="camera-unchecked", text=f"{text} would not. {then}")
    text = (
        "the lane file has no still, and none of its marks is seen in the clip: nobody can tell whether the camera stood where it "
        "was calibrated, with the same zoom. A zoom of 3 % or a knock of a few pixels makes lengths and places wrong by more than "
        f"is said here. {then}"
    )
    return Notice(code="camera-unchecked", text=text)
