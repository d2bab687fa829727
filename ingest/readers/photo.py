"""A photo shrunk, set upright and written anew without anything beside the picture, in the parsing child."""

from __future__ import annotations

from ingest.apart.child import ChildEnded
from ingest.errors import EntryRefused
from ingest.harmless import as_file_name
from ingest.readers.read_apart import ask_apart

MOST_BYTES = 10_000_000
MOST_PIXELS = 60_000_000  # once a JPEG is read at a part of its size, which its format allows
LONGEST_PX = 1600
QUALITY = 80
WALL_S = 30.0
FORMATS = ("JPEG", "PNG", "WEBP")


def read_photo(name: str, data: bytes) -> bytes:
    """Return a JPEG of at most LONGEST_PX a side. Raises EntryRefused for what is too large or no photo."""
    name = as_file_name(name)
    if len(data) > MOST_BYTES:
        raise EntryRefused(
            "large-photo", f"{name}: a photo may have up to 10 MB; take it smaller, or send it reduced."
        )
    try:
        answer, body = ask_apart({"name": name, "photo": True}, data, WALL_S, sound=bool)
    except ChildEnded as ended:
        raise EntryRefused(
            "bad-photo", f"{name}: the picture is damaged, or too large to take apart; save it anew as JPEG."
        ) from ended
    if "refused" in answer:
        raise EntryRefused("bad-photo", str(answer["refused"][1]))
    return bytes(body)


def parse_photo(name: str, data: bytes) -> bytes:
    """As `read_photo`, in this process; for the child."""
    import io

    from PIL import Image, ImageOps, UnidentifiedImageError

    Image.MAX_IMAGE_PIXELS = None  # held against our own limit, before anything is unpacked
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
            picture.draft("RGB", (2 * LONGEST_PX, 2 * LONGEST_PX))
            if picture.width * picture.height > MOST_PIXELS:
                raise EntryRefused("bad-photo", f"{name}: the picture has too many pixels; send it reduced.")
            upright = ImageOps.exif_transpose(picture)
            upright.thumbnail((LONGEST_PX, LONGEST_PX))
            if upright.mode not in ("RGB", "L"):
                upright = upright.convert("RGBA")
                paper = Image.new("RGB", upright.size, "white")
                paper.paste(upright, mask=upright.getchannel("A"))
                upright = paper
            bare = Image.frombytes(upright.mode, upright.size, upright.tobytes())
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise EntryRefused(
            "bad-photo", f"{name}: this is no photo as JPEG, PNG or WebP that can be read; save it as JPEG."
        ) from error
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
