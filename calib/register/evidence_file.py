"""A file given as evidence: a photograph drawn anew without what the camera wrote into it, or a PDF as it was given.

What it is is told from its content and never from its name, and nothing in it is ever run. A PDF that openly says that
it starts a program or a script is refused; into what is packed in it nobody looks, which is said where it is given out.
"""

from __future__ import annotations

import re
import struct
import unicodedata
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from calib.errors import Code, InputError, visible
from calib.paths import data
from calib.register.fields import Refusal, one_line
from calib.register.tables import odd_kind, sha256_of

if TYPE_CHECKING:
    from PIL import Image

FACTS = data("register/attachments.toml")
KEPT: dict[str, dict[str, Any]] = FACTS["kept"]
MOST_BYTES = int(FACTS["most_bytes"])
MOST_PIXELS = int(FACTS["most_pixels"])
LONGEST_NAME = 120
_MOST = f"{MOST_PIXELS / 1e6:.0f} million"
_BEGINS = {b"\xff\xd8\xff": "JPEG", b"\x89PNG\r\n\x1a\n": "PNG", b"%PDF-": "PDF"}
_STREAM = re.compile(rb"stream\r?\n.*?endstream", re.DOTALL)
_ACTS = re.compile(rb"/(JavaScript|JS|Launch)(?=[\s/<>\[\]()%]|$)")
_PNG_PARTS = {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"}  # what a picture is drawn of, and nothing that tells of it


@dataclass(frozen=True)
class EvidenceFile:
    """A file as it is kept.

    Attributes
    ----------
    name : str
        What it was called, its folder left out.
    media : str
        Its type: image/jpeg, image/png or application/pdf.
    content : bytes
        Its bytes as kept.
    """

    name: str
    media: str
    content: bytes

    @property
    def sha256(self) -> str:
        """Hash of its content, by which it is kept."""
        return sha256_of(self.content)


def read_evidence(path: str | Path) -> EvidenceFile:
    """Read a file and make of it what is kept.

    Raises
    ------
    InputError
        It is missing, a folder or a pipe, or as `evidence_of` says.
    """
    where, remedy = str(path), f"name {FACTS['says']['types']}"
    try:
        if said := odd_kind(path):
            raise InputError.one(f"cannot be read, {said}", remedy, where=where, code="file")
        with open(path, "rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        absent = isinstance(error, FileNotFoundError)
        why = "there is no such file" if absent else (getattr(error, "strerror", "") or str(error)).lower()
        raise InputError.one(
            f"cannot be read, {why}", remedy, where=where, code="not-found" if absent else "file"
        ) from None
    return evidence_of(raw, where)


def evidence_of(raw: bytes, name: str) -> EvidenceFile:
    """What is kept of a file that somebody gives.

    Parameters
    ----------
    raw : bytes
        Its content.
    name : str
        Its name or path; nothing is told from it.

    Raises
    ------
    InputError
        It is empty, too large, cut short, of another type, has too many pixels or several pictures, or is a PDF that
        starts something.
    """
    where = name
    if not raw:
        raise _refused("is empty", "have it sent again", where)
    if len(raw) > MOST_BYTES:
        remedy = "save the photograph smaller, or the page alone"
        raise _refused(f"has more than {MOST_BYTES >> 20} MB", remedy, where, "limits")
    given = _type_of(raw)
    if not given:
        raise _refused(f"is not {FACTS['says']['types']}, whatever its name says", "attach one of these", where)
    media = next(media for media, one in KEPT.items() if given in one["of"])
    if given == "PDF":
        if fault := _fault_of_pdf(raw):
            raise _refused(*fault, where)
        content = raw
    else:
        content = _drawn_anew(raw, given, KEPT[media]["of"][0], where)
        if len(content) > MOST_BYTES:
            raise _refused(f"comes to more than {MOST_BYTES >> 20} MB", "save it as JPEG", where, "limits")
    return EvidenceFile(plain_name(name), media, content)


def type_in_words(media: str) -> str:
    """What a type is called; one that is not kept, as it is."""
    return str(KEPT[media]["label"]) if media in KEPT else visible(media, 40)


def length_in_words(count: int) -> str:
    """A length in bytes as people read it."""
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(count / 1e3, 0.1):.3g} kB"


def plain_name(name: str) -> str:
    """A file's name without its folder, as one line in which nothing is hidden."""
    plain = unicodedata.normalize("NFC", PurePath(name.replace("\\", "/")).name)
    try:
        return one_line(visible(plain, LONGEST_NAME)) or "file"
    except Refusal:  # one that stands for a blank
        return "file"


def fault_of(content: bytes, media: str) -> str:
    """What keeps bytes from being a file of this type as calib keeps it; blank for nothing.

    They came with a register or a bundle, and so may be anything: the size, the type by content, and that a picture has
    nothing in it but the picture.
    """
    given = _type_of(content)
    if media not in KEPT:
        return f"is of a type that is not kept ({visible(media, 40)})"
    if len(content) > MOST_BYTES:
        return f"has more than {MOST_BYTES >> 20} MB"
    if given != KEPT[media]["of"][0]:
        return f"is no {KEPT[media]['label']}, whatever it says"
    if given == "PDF":
        return (_fault_of_pdf(content) or ("",))[0]
    try:
        with _opened(content, given) as picture:
            if fault := _fault_of_size(picture):
                return fault[0]
            names = {str(name) for name, _ in getattr(picture, "applist", [])}
    except _Unreadable as error:
        return str(error)
    bare = names <= {"APP0"} and content.endswith(b"\xff\xd9") if given == "JPEG" else _is_bare_png(content)
    return "" if bare else "has more in it than the picture"


def _refused(problem: str, remedy: str, where: str, code: Code = "file") -> InputError:
    return InputError.one(problem, remedy, where=where, code=code)


def _type_of(raw: bytes) -> str:
    """The type that the first bytes are of; blank for another."""
    if raw[:4] == b"RIFF" and raw[8:12] == b"WEBP":
        return "WEBP"
    return next((kind for begins, kind in _BEGINS.items() if raw.startswith(begins)), "")


def _fault_of_pdf(raw: bytes) -> tuple[str, str] | None:
    """What is wrong with a PDF as far as it stands openly in it, with the remedy."""
    if b"%%EOF" not in raw[-2048:]:
        return "is a PDF that was cut short", "have it sent again"
    openly = re.sub(rb"#([0-9A-Fa-f]{2})", lambda code: bytes([int(code[1], 16)]), _STREAM.sub(b"", raw))
    if found := _ACTS.search(openly):
        what = "starts a program" if found[1] == b"Launch" else "has a script in it"
        return f"is a PDF that {what}", "print the page to a new PDF, or photograph it"
    return None


class _Unreadable(Exception):
    """The bytes are no picture of that type, or not a whole one; says what they are."""


def _opened(raw: bytes, given: str) -> Image.Image:
    """A picture whose head was read and nothing more."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # its size is looked at next
            return Image.open(BytesIO(raw), formats=[given])
    except Image.DecompressionBombError:
        raise _Unreadable(f"has more pixels than a photograph: {_MOST} is the most") from None
    except Exception as error:  # of bytes that may be anything, the decoders raise whatever comes
        raise _Unreadable("cannot be read as the picture that it says it is") from error


def _fault_of_size(picture: Image.Image) -> tuple[str, str] | None:
    """What is wrong with the size of a picture, with the remedy."""
    width, height = picture.size
    if width * height > MOST_PIXELS:
        return f"has {width} x {height} pixels, and {_MOST} is the most", "save the photograph smaller"
    frames = getattr(picture, "n_frames", 1) if picture.format not in ("JPEG", "MPO") else 1  # the first is the photo
    return (f"has {frames} pictures in it", "save one of them") if frames > 1 else None


def _drawn_anew(raw: bytes, given: str, kept: str, where: str) -> bytes:
    """A picture as the camera saw it, upright, with nothing but its pixels: EXIF, place and comments are left out."""
    from PIL import ImageOps

    try:
        with _opened(raw, given) as opened:
            if fault := _fault_of_size(opened):
                raise _refused(*fault, where, "limits")
            opened.load()
            upright = ImageOps.exif_transpose(opened)
        longest = int(FACTS["longest_side_px"])
        made = _in_colours(upright, kept)
        made.thumbnail((longest, longest))
        made.info.clear()
        written = BytesIO()
        made.save(written, kept, **({"quality": int(FACTS["jpeg_quality"])} if kept == "JPEG" else {}))
    except InputError:
        raise
    except _Unreadable as error:
        raise _refused(str(error), "have it sent again, or saved smaller", where) from error
    except Exception as error:  # as in _opened
        raise _refused("cannot be read as the picture that it says it is", "have it sent again", where) from error
    return written.getvalue()


def _in_colours(picture: Image.Image, kept: str) -> Image.Image:
    """The same picture in colours that every viewer shows; what is clear in a photograph becomes white."""
    from PIL import Image

    if kept == "PNG":
        grey = "L" if picture.mode in ("1", "L") else "RGB"
        return picture.convert("RGBA" if picture.has_transparency_data else grey)
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        white = Image.new("RGB", picture.size, "white")
        white.paste(clear, mask=clear.getchannel("A"))
        return white
    return picture.convert("L" if picture.mode in ("1", "L") else "RGB")


def _is_bare_png(content: bytes) -> bool:
    """Whether a PNG is made of the parts that it is drawn of alone, and ends with the last."""
    names = list(_png_parts(content))
    return bool(names) and set(names) <= _PNG_PARTS and names[-1] == b"IEND"


def _png_parts(content: bytes) -> Iterator[bytes]:
    at = 8
    while at + 8 <= len(content):
        size, name = struct.unpack(">I4s", content[at : at + 8])
        at += 12 + size
        yield name if at <= len(content) else b"cut short"
    if at != len(content):
        yield b"more"
