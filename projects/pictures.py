"""Photos made anew from their pixels, so that nothing else that was in the file goes on; the only user of Pillow.

What a camera writes beside the picture (where, when, with which device, a small copy of what was cut off) and whatever
somebody hid behind it stays with the sender.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final

import numpy as np
from django.conf import settings
from PIL import ExifTags, Image, ImageCms

from projects.errors import RuleBroken, broken

POINTER: Final = "/photo"
#: more than telephones commonly take; three or four bytes each in memory
MOST_PIXELS: Final = 60_000_000
LEAST_SIDE: Final = 200
LARGE_SIDE: Final = 2000
SMALL_SIDE: Final = 640
QUALITY: Final = 82
MEDIA_TYPE: Final = "image/jpeg"
_LARGEST_PROFILE: Final = 1024 * 1024
#: what the names of kinds in an ISO base media file begin with, where a photo is in a kind that is not read here
_OTHER_BRANDS: Final = (b"hei", b"hev", b"hea", b"mif1", b"msf1", b"avi")
#: EXIF orientation (Exif 2.32, tag 274) to what undoes it
_TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
#: kinds of pixels that can be averaged as they are
_SCALABLE: Final = frozenset({"RGB", "RGBA", "L", "LA", "CMYK"})
_EXPECTED: Final = "a still photo as JPEG, PNG or WebP"


@dataclass(frozen=True)
class Remade:
    """A photo in two sizes, as JPEG without anything beside the picture."""

    large: bytes
    small: bytes
    width_px: int
    height_px: int


def remade(content: bytes) -> Remade:
    """Return the picture of a file in two sizes, upright, in sRGB.

    Raises
    ------
    RuleBroken
        If it is no still JPEG, PNG or WebP, too large, too small, or damaged.
    """
    if not content:
        raise _refused("missing", "The file is empty.")
    if len(content) > settings.LARGEST_FILE:
        raise _refused("too_large", f"This file is larger than the {settings.LARGEST_FILE // 2**20} MB that are taken.")
    if content[4:8] == b"ftyp" and content[8:16].startswith(_OTHER_BRANDS):
        raise _refused(
            "unknown_format",
            "This is a HEIC or AVIF file, which is not read here. Set the camera to “most compatible”, or share the "
            "photo as JPEG, and send that.",
        )
    try:
        with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as opened:
            _looked_at(opened)
            # a JPEG can be read at an eighth, a quarter or half of its size, which saves most of the memory
            opened.draft("RGB", (LARGE_SIDE, LARGE_SIDE))
            opened.load()
            turn = _turn(opened)
            # made smaller first, since each step after it makes a copy
            small_enough = _fitted(opened if opened.mode in _SCALABLE else _plain(opened), LARGE_SIDE)
            picture = _plain(small_enough)
            picture = picture if turn is None else picture.transpose(turn)
    except RuleBroken:
        raise
    except Image.UnidentifiedImageError as error:
        raise _refused("unknown_format", f"This file is not {_EXPECTED}.") from error
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many(0) from error
    # A made-up file can make a reader stumble in any way there is; none of them is our mistake.
    except Exception as error:
        raise _refused("damaged", "This photo is damaged or cut off; it could not be read to its end.") from error
    return Remade(_jpeg(picture), _jpeg(_fitted(picture, SMALL_SIDE)), picture.width, picture.height)


def _looked_at(opened: Image.Image) -> None:
    """Refuse by what the file says of itself, before anything is unpacked."""
    width, height = opened.size
    if width * height > MOST_PIXELS:
        raise _too_many(width * height)
    if min(width, height) < LEAST_SIDE:
        raise _refused(
            "too_small",
            f"This photo has {width} × {height} pixels; nothing could be made out. Each side needs {LEAST_SIDE}.",
        )
    if opened.format in {"PNG", "WEBP"} and getattr(opened, "n_frames", 1) > 1:
        raise _refused("moving", "This is a moving picture; send a still one.")


def _too_many(pixels: int) -> RuleBroken:
    most = f"{MOST_PIXELS // 1_000_000} million pixels"
    read = f"This photo has {pixels // 1_000_000} million pixels" if pixels else "This photo has too many pixels"
    return _refused("too_many_pixels", f"{read}; at most {most} are taken.")


def _refused(code: str, detail: str) -> RuleBroken:
    return broken(POINTER, code, detail, None, _EXPECTED)


def _plain(opened: Image.Image) -> Image.Image:
    """The picture in eight bits of sRGB on white ground."""
    if opened.mode.startswith(("I", "F")):
        grey = np.asarray(opened).astype(np.int64) >> 8
        return Image.fromarray(grey.clip(0, 255).astype(np.uint8)).convert("RGB")
    picture = _in_srgb(opened)
    if picture.mode in {"RGBA", "LA", "PA"} or "transparency" in picture.info:
        seen = picture.convert("RGBA")
        ground = Image.new("RGBA", seen.size, "white")
        ground.alpha_composite(seen)
        picture = ground
    return picture if picture.mode == "RGB" else picture.convert("RGB")


def _in_srgb(opened: Image.Image) -> Image.Image:
    profile = opened.info.get("icc_profile")
    if not profile or len(profile) > _LARGEST_PROFILE or opened.mode not in {"RGB", "CMYK", "L"}:
        return opened
    try:
        found = ImageCms.profileToProfile(
            opened, ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        # a profile that does not fit its picture: the plain reading is near enough
        return opened
    return found or opened


def _turn(opened: Image.Image) -> Image.Transpose | None:
    """How the picture is to be turned to stand upright, by what the camera noted."""
    try:
        noted = opened.getexif().get(ExifTags.Base.Orientation)
    except Exception:
        # notes that cannot be read say nothing
        return None
    return _TURNS.get(noted) if isinstance(noted, int) else None


def _fitted(picture: Image.Image, side: int) -> Image.Image:
    scale = side / max(picture.size)
    if scale >= 1:
        return picture
    width, height = (max(1, round(length * scale)) for length in picture.size)
    return picture.resize((width, height), Image.Resampling.LANCZOS, reducing_gap=3.0)


def _jpeg(picture: Image.Image) -> bytes:
    # what is left of the file beside its pixels would be written along, a comment for one
    bare = Image.frombytes("RGB", picture.size, picture.tobytes())
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True, progressive=True)
    return out.getvalue()
