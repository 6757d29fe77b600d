"""What is kept of a photograph or a PDF that somebody gives, and what is refused."""

from __future__ import annotations

import os
import zlib
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from calib.errors import InputError
from calib.register.attachments import MOST_BYTES, evidence_of, fault_of, plain_name, read_evidence

PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"


def picture(kind: str = "JPEG", size: tuple[int, int] = (40, 20), mode: str = "RGB", **how: object) -> bytes:
    """A picture whose left half is dark and whose right half is light."""
    made = Image.new(mode, size, 0)
    made.paste(255 if len(mode) == 1 else tuple([255] * len(mode)), (size[0] // 2, 0, *size))
    written = BytesIO()
    made.save(written, kind, **how)
    return written.getvalue()


def from_a_camera() -> bytes:
    """A photograph held on its side, with its place, the camera and a comment in it."""
    told = Image.Exif()
    told[0x0112], told[0x010F] = 6, "Camera"  # turned by 90 degrees, and the maker
    told.get_ifd(0x8825)[1] = "N"
    return picture(exif=told, comment=b"at home", icc_profile=b"profile")


def test_a_photograph_is_kept_upright_and_says_nothing_but_the_picture() -> None:
    given = from_a_camera()
    assert b"Camera" in given
    kept = evidence_of(given, "C:\\mine\\plate.png")
    assert (kept.name, kept.media) == ("plate.png", "image/jpeg")  # the type is the content's, not the name's
    with Image.open(BytesIO(kept.content)) as seen:
        assert seen.size == (20, 40)  # upright
        assert seen.getpixel((10, 2)) < (60, 60, 60)
        assert not seen.getexif()
        assert {name for name, _ in seen.applist} == {"APP0"}
    assert not any(word in kept.content for word in (b"Camera", b"at home", b"profile", b"Exif"))
    assert fault_of(kept.content, kept.media) == ""
    assert evidence_of(given, "plate.png") == kept  # the same again is the same


@pytest.mark.parametrize(
    ("given", "media", "end"),
    [
        (picture("PNG"), "image/png", "PNG"),
        (picture("PNG", mode="L"), "image/png", "PNG"),
        (picture("PNG", mode="RGBA"), "image/png", "PNG"),
        (picture("WEBP"), "image/jpeg", "JPEG"),
        (picture("WEBP", mode="RGBA"), "image/jpeg", "JPEG"),
        (picture(mode="CMYK"), "image/jpeg", "JPEG"),
        (picture(size=(3400, 200)), "image/jpeg", "JPEG"),
    ],
)
def test_pictures_of_every_kind_are_kept(given: bytes, media: str, end: str) -> None:
    kept = evidence_of(given, "x")
    assert kept.media == media
    assert fault_of(kept.content, media) == ""
    with Image.open(BytesIO(kept.content)) as seen:
        assert (seen.format, max(seen.size) <= 3000) == (end, True)


def test_a_pdf_is_kept_as_it_is() -> None:
    kept = evidence_of(PDF, "sheet.jpg")
    assert (kept.media, kept.content) == ("application/pdf", PDF)
    packed = b"%PDF-1.7\n4 0 obj<</Length 9>>stream\n/JS (x)\nendstream endobj\n%%EOF"
    assert evidence_of(packed, "x").content == packed  # into what is packed nobody looks


def bomb() -> bytes:
    """A PNG of some hundred bytes that says that it has 60,000 x 60,000 pixels."""

    def part(name: bytes, told: bytes) -> bytes:
        return len(told).to_bytes(4, "big") + name + told + zlib.crc32(name + told).to_bytes(4, "big")

    head = (60_000).to_bytes(4, "big") * 2 + bytes([8, 0, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", zlib.compress(bytes(99))) + part(b"IEND", b"")


def moving(kind: str) -> bytes:
    frames = [Image.new("RGB", (8, 8), shade) for shade in ("red", "blue", "green")]
    written = BytesIO()
    frames[0].save(written, kind, save_all=True, append_images=frames[1:], duration=50)
    return written.getvalue()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (b"", "is empty; have it sent again"),
        (b"\xff\xd8\xff" + bytes(MOST_BYTES), "has more than 10 MB; save the photograph smaller"),
        (b"hello", r"is not a photograph or picture \(JPEG, PNG, WebP\) or a PDF, whatever its name says"),
        (b"<svg/>", "is not a photograph"),
        (b"GIF89a" + bytes(90), "is not a photograph"),
        (b"MZ" + bytes(90), "is not a photograph"),
        (picture(size=(400, 400))[:900], "cannot be read as the picture that it says it is; have it sent again"),
        (b"\x89PNG\r\n\x1a\n" + bytes(60), "cannot be read as the picture"),
        (b"RIFF\x10\x00\x00\x00WEBP" + bytes(60), "cannot be read as the picture"),
        (bomb(), "has more pixels than a photograph: 50 million is the most"),
        (picture("PNG", (10_000, 6_000), "1"), "has 10000 x 6000 pixels, and 50 million is the most"),
        (moving("PNG"), "has 3 pictures in it; save one of them"),
        (moving("WEBP"), "has 3 pictures in it; save one of them"),
        (PDF[:-8], "is a PDF that was cut short"),
        (PDF.replace(b"/Root", b"/OpenAction<</S/JavaScript/JS(x)>>/Root"), "is a PDF that has a script in it"),
        (PDF.replace(b"/Root", b"/AA<</S/#4Aava#53cript/#4a#53(x)>>/Root"), "is a PDF that has a script in it"),
        (PDF.replace(b"/Root", b"/OpenAction<</S /Launch/F(x)>>/Root"), "is a PDF that starts a program; print"),
    ],
)
def test_what_is_none_is_refused_in_one_line(given: bytes, said: str) -> None:
    with pytest.raises(InputError, match=rf"^plate\.jpg: {said}") as caught:
        evidence_of(given, "plate.jpg")
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(
    ("content", "media", "said"),
    [
        (b"<html>", "image/jpeg", "is no photograph"),
        (picture("PNG"), "image/jpeg", "is no photograph"),
        (picture(), "text/html", "is of a type that is not kept"),
        (from_a_camera(), "image/jpeg", "has more in it than the picture"),
        (evidence_of(picture(), "x").content + b"<script>", "image/jpeg", "has more in it than the picture"),
        (evidence_of(picture("PNG"), "x").content + b"<script>", "image/png", "has more in it than the picture"),
        (picture("PNG", pnginfo=None, dpi=(9, 9)), "image/png", "has more in it than the picture"),
        (bomb(), "image/png", "pixels"),
        (b"\xff\xd8\xff\xe0", "image/jpeg", "cannot be read as the picture"),
        (PDF.replace(b"/Root", b"/JS(x)/Root"), "application/pdf", "is a PDF that has a script in it"),
        (bytes(MOST_BYTES + 1), "application/pdf", "has more than 10 MB"),
    ],
)
def test_what_came_from_elsewhere_is_held_to_what_calib_keeps(content: bytes, media: str, said: str) -> None:
    assert said in fault_of(content, media)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name, said in (("none.jpg", "there is no such file"), ("", "it is a folder"), ("pipe", "it is a")):
        with pytest.raises(InputError, match=f"cannot be read, {said}.*; name a photograph or picture"):
            read_evidence(tmp_path / name)


def test_a_name_is_one_line_in_which_nothing_is_hidden() -> None:
    assert plain_name("/home/me/a\u202eb\n.jpg") == "a\\u202eb .jpg"
    assert plain_name("..\\..\\x.jpg") == "x.jpg"
    assert len(plain_name("y" * 900)) < 150
    assert plain_name("/") == plain_name("nan") == "file"
