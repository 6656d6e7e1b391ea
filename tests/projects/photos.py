"""Photos made for tests."""

import io

import numpy as np
from PIL import Image


def encoded(picture, kind="JPEG", **options):
    """A picture as the bytes of a file."""
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def jpeg(width=400, height=300, colour="green", **options):
    """A photo of one colour."""
    return encoded(Image.new("RGB", (width, height), colour), **options)


def meadow(width, height):
    """A photo that is dark above and light below, with grain, so that it shows which way it stands."""
    grain = np.arange(height * width * 3).reshape(height, width, 3) * 7919 % 40
    rows = np.linspace(0, 200, height)[:, None, None]
    return Image.fromarray((rows + grain).astype(np.uint8))


class Named(io.BytesIO):
    """A file to be sent with a form, as often as one likes."""

    name = "photo.jpg"

    def read(self, *args):
        self.seek(0)
        return super().read(*args)


def named(content, name="photo.jpg"):
    """A file of these bytes, called so."""
    file = Named(content)
    file.name = name
    return file


def read(content):
    """A picture from the bytes of a file."""
    found = Image.open(io.BytesIO(content))
    found.load()
    return found
