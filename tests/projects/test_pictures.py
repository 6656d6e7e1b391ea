"""A photo is made anew: nothing but its pixels goes on, and what is no photo is refused by name."""

import io
import struct
import time
import tracemalloc
import zlib

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageCms, PngImagePlugin

from projects.errors import RuleBroken
from projects.pictures import LARGE_SIDE, MOST_PIXELS, SMALL_SIDE, remade
from tests.projects.photos import encoded, jpeg, meadow, read

MARKER = "NoticeBoardByTheGate"


def refused(content):
    with pytest.raises(RuleBroken) as told:
        remade(content)
    (error,) = told.value.errors
    assert error.pointer == "/photo"
    assert error.expected == "a still photo as JPEG, PNG or WebP"
    return error


def exif(orientation=1):
    """What a camera writes: device, maker's comment, place."""
    found = Image.Exif()
    found[ExifTags.Base.Make] = MARKER
    found[ExifTags.Base.Orientation] = orientation
    found.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: (53.0, 48.0, 12.0), 3: "E", 4: (0.0, 24.0, 6.0)})
    found.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.UserComment] = MARKER.encode()
    return found


def bare(content):
    """The picture of an answer, which must be a JPEG with nothing beside it."""
    assert MARKER.encode() not in content
    assert MARKER.encode("utf-16-le") not in content
    assert b"Exif" not in content
    assert b"http://ns.adobe.com" not in content
    assert b"ICC_PROFILE" not in content
    found = read(content)
    assert (found.format, found.mode) == ("JPEG", "RGB")
    assert dict(found.getexif()) == {}
    assert set(found.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
    # nothing after the picture's end (ITU-T T.81, B.1.1.3: EOI)
    assert content.endswith(b"\xff\xd9")
    return found


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_what_a_camera_writes_beside_a_photo_stays_with_the_sender(kind):
    xmp = f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{MARKER}</x:xmpmeta>".encode()
    options = {"exif": exif().tobytes()}
    if kind == "PNG":
        notes = PngImagePlugin.PngInfo()
        notes.add_text("Comment", MARKER)
        notes.add_itxt("XML:com.adobe.xmp", xmp.decode())
        options["pnginfo"] = notes
    else:
        options["xmp"] = xmp
    if kind == "JPEG":
        options["comment"] = MARKER.encode()
    sent = encoded(meadow(1200, 900), kind, **options)
    there = Image.open(io.BytesIO(sent))
    assert there.getexif().get_ifd(ExifTags.IFD.GPSInfo)[2] == (53.0, 48.0, 12.0)
    assert MARKER.encode() in sent
    made = remade(sent)
    for content in (made.large, made.small):
        bare(content)


# Exif 2.32, tag 274: where the stored rows and columns lie; the sky of `meadow` is its last row
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_stands_upright_however_the_camera_was_held(orientation):
    upright = meadow(400, 300)
    undo = {
        1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE, 8: Image.Transpose.ROTATE_270,
    }  # fmt: skip
    upright.paste("red", (0, 0, 80, 80))
    stored = upright if undo[orientation] is None else upright.transpose(undo[orientation])
    made = remade(encoded(stored, exif=exif(orientation).tobytes(), quality=95))
    found = bare(made.large)
    assert found.size == (400, 300)
    red, green, _ = found.getpixel((40, 40))
    assert red > 200
    assert green < 60


def test_the_two_sizes_are_bounded_and_keep_the_shape():
    made = remade(encoded(meadow(3000, 1500), quality=60))
    assert read(made.large).size == (made.width_px, made.height_px) == (LARGE_SIDE, LARGE_SIDE // 2)
    assert read(made.small).size == (SMALL_SIDE, SMALL_SIDE // 2)
    # a small one is not blown up
    assert read(remade(jpeg(320, 240)).small).size == (320, 240)


@pytest.mark.parametrize(
    ("picture", "kind", "expected"),
    [
        (Image.new("CMYK", (300, 300), (255, 0, 0, 0)), "JPEG", (0, 255, 255)),
        (Image.new("L", (300, 300), 128), "JPEG", (128, 128, 128)),
        (Image.new("1", (300, 300), 1), "PNG", (255, 255, 255)),
        (Image.new("RGBA", (300, 300), (255, 0, 0, 0)), "PNG", (255, 255, 255)),
        (Image.new("RGBA", (300, 300), (0, 0, 255, 255)), "WEBP", (0, 0, 255)),
        (Image.new("LA", (300, 300), (0, 0)), "PNG", (255, 255, 255)),
        (Image.new("RGB", (300, 300), (0, 0, 255)).convert("P"), "PNG", (0, 0, 255)),
        # half of 65,535 is half of 255
        (Image.fromarray(np.full((300, 300), 32_896, np.uint16)), "PNG", (128, 128, 128)),
    ],
    ids=["cmyk", "grey", "black and white", "clear", "webp", "clear grey", "palette", "16 bit"],
)
def test_every_kind_of_pixel_is_read(picture, kind, expected):
    found = bare(remade(encoded(picture, kind)).large)
    assert np.allclose(found.getpixel((150, 150)), expected, atol=3)


def swapped(profile):
    """An ICC profile whose red and blue have changed places (ICC.1:2022, 7.3: the tag table)."""
    count = struct.unpack_from(">I", profile, 128)[0]
    found = bytearray(profile)
    for at in range(132, 132 + 12 * count, 12):
        found[at : at + 4] = {b"rXYZ": b"bXYZ", b"bXYZ": b"rXYZ"}.get(profile[at : at + 4], profile[at : at + 4])
    return bytes(found)


def test_other_colours_are_brought_into_srgb_and_a_profile_that_is_none_is_left_aside():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for profile, expected in ((srgb, (200, 60, 20)), (swapped(srgb), (20, 60, 200)), (b"none" * 99, (200, 60, 20))):
        found = bare(remade(jpeg(colour=(200, 60, 20), icc_profile=profile, quality=95)).large)
        assert np.allclose(found.getpixel((50, 50)), expected, atol=4)


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


@pytest.mark.parametrize("side", [50_000, 10_000])
def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked(side):
    # a real PNG of one colour: 2.5 gigapixels in some 300 kB
    pack = zlib.compressobj(9)
    row = bytes(1 + side // 8)
    body = b"".join(pack.compress(row) for _ in range(side)) + pack.flush()
    header = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    bomb = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    assert len(bomb) < 10 * 2**20
    assert side * side > MOST_PIXELS
    tracemalloc.start()
    began = time.perf_counter()
    error = refused(bomb)
    took = time.perf_counter() - began
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert error.code == "too_many_pixels"
    assert "60 million" in error.detail
    assert took < 1
    # the file itself, and no picture of it
    assert peak < 20 * 2**20


def test_a_page_hidden_behind_a_photo_is_gone():
    page = f"<html><script>{MARKER}</script></html>".encode()
    behind = jpeg() + page
    within = jpeg(comment=page)
    assert page in behind
    assert page in within
    for sent in (behind, within):
        made = remade(sent)
        for content in (made.large, made.small):
            bare(content)
            assert b"<script" not in content.lower()


def animated(kind):
    frames = [Image.new("RGB", (300, 300), colour) for colour in ("red", "blue")]
    return encoded(frames[0], kind, save_all=True, append_images=frames[1:], duration=100)


def half(content):
    return content[: len(content) // 2]


HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + bytes(200)


@pytest.mark.parametrize(
    ("content", "code", "told"),
    [
        (b"", "missing", "empty"),
        (b"GIF89a" + bytes(500), "unknown_format", "not a still photo"),
        (encoded(Image.new("RGB", (300, 300)), "GIF"), "unknown_format", "not a still photo"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "unknown_format", "not a still photo"),
        (HEIC, "unknown_format", "HEIC"),
        (animated("PNG"), "moving", "still one"),
        (animated("WEBP"), "moving", "still one"),
        (jpeg(100, 400), "too_small", "100 × 400"),
        (jpeg(quality=95)[:-400], "damaged", "cut off"),
        (encoded(meadow(400, 300))[:3000], "damaged", "cut off"),
        (half(encoded(meadow(400, 300), "PNG")), "damaged", "cut off"),
        (half(encoded(meadow(400, 300), "WEBP")), "damaged", "cut off"),
        (bytes(10 * 2**20 + 1), "too_large", "10 MB"),
    ],
    ids=["empty", "gif", "real gif", "svg", "heic", "apng", "moving webp", "tiny", "cut", "cut 2", "cut png",
         "cut webp", "large"],
)  # fmt: skip
def test_what_is_no_photo_is_told_so(content, code, told):
    error = refused(content)
    assert error.code == code
    assert told in error.detail


def test_a_photo_with_a_second_picture_behind_it_gives_the_first():
    # a multi-picture file (CIPA DC-007), as telephones write for depth
    both = encoded(meadow(400, 300), "MPO", save_all=True, append_images=[Image.new("RGB", (400, 300), "red")])
    assert Image.open(io.BytesIO(both)).n_frames == 2
    found = bare(remade(both).large)
    assert found.getpixel((200, 290))[2] > 150


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_bytes_that_were_turned_never_stumble(kind):
    sound = bytearray(encoded(meadow(240, 220), kind))
    for position in range(2, len(sound), max(1, len(sound) // 60)):
        broken = bytearray(sound)
        broken[position] ^= 0xFF
        try:
            made = remade(bytes(broken))
        except RuleBroken:
            continue
        bare(made.large)
