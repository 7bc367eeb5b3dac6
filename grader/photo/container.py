"""Picture files as bytes: which format they hold, and whether all of it. Nothing is decoded."""

import struct

JPEG, PNG, TIFF, WEBP, HEIC = "JPEG", "PNG", "TIFF", "WebP", "HEIC"

# Brands of ISO/IEC 23008-12 files with HEVC pictures; "mif1" and "msf1" leave the coding open.
_HEIC_BRANDS = {
    b"heic",
    b"heix",
    b"heim",
    b"heis",
    b"hevc",
    b"hevx",
    b"hevm",
    b"hevs",
    b"mif1",
    b"msf1",
}
# The PNG specification's last chunk: no content, its name, its checksum.
_PNG_END = b"\0\0\0\0IEND\xae\x42\x60\x82"
#: So many zero bytes at the end of a coded picture are a broken copy.
ZEROS_ON_END = 64
_OTHERS = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"8BPS", "a layered editor file"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a zip archive"),
    (b"<", "a web page or drawing"),
)


def picture_format(data: bytes) -> str | None:
    """Return the format by its opening bytes, never by a name; ``None`` for what is not read."""
    if data[:3] == b"\xff\xd8\xff":
        return JPEG
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return PNG
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return TIFF
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return WEBP
    if data[4:8] == b"ftyp" and _brands(data) & _HEIC_BRANDS and b"avif" not in _brands(data):
        return HEIC
    return None


def other_content(data: bytes) -> str:
    """Return what a file that is no photo seems to be, for people: "a PDF", "a text"."""
    if data[4:8] == b"ftyp":
        return "an AVIF picture" if b"avif" in _brands(data) else "a video"
    for opening, content in _OTHERS:
        if data.lstrip()[:8].startswith(opening):
            return content
    return "a text" if _is_text(data[:512]) else "something else"


def cut_off(data: bytes, form: str) -> str | None:
    """Return how a file is cut off, "cut off after 61 %", or ``None`` where its end is there.

    Bytes after the end are no fault: phones put a second picture or a film there.
    """
    whole = {
        JPEG: _jpeg_bytes,
        PNG: _png_bytes,
        TIFF: _tiff_bytes,
        WEBP: _webp_bytes,
        HEIC: _heic_bytes,
    }[form](data)
    if whole is None:
        return "cut off before its end"
    present = min(_coded_end(data, form), len(data))
    if whole > present:
        return f"cut off after {100 * present // whole} %"
    return None


def _coded_end(data: bytes, form: str) -> int:
    """Where the coded picture ends: a broken copy may have its full length, with nothing but zeros in its last part.

    No coded HEVC picture holds three zero bytes on end (ITU-T H.265, 7.4.2, from memory), and no entropy-coded WebP
    comes near so many.
    """
    if form == HEIC:
        spans = [(at, end) for name, at, end in _boxes(data, 0, len(data)) if name == b"mdat"]
    else:
        spans = [(12, _webp_bytes(data))] if form == WEBP else []
    for start, end in spans:
        coded = data[start:end].rstrip(b"\0")
        if len(data[start:end]) - len(coded) >= ZEROS_ON_END:
            return start + len(coded)
    return len(data)


def damaged(data: bytes, form: str) -> bool:
    """Whether a file is damaged in a way that its decoder does not survive."""
    return form == HEIC and _heic_damaged(data)


def jpeg_scans(data: bytes) -> int:
    """How many passes over its pictures a JPEG makes at most: its marks of a scan's start, ITU-T T.81, B.2.3."""
    return data.count(b"\xff\xda")


def png_bits(data: bytes) -> int:
    """Bits of one value, from the IHDR chunk."""
    return data[24] if len(data) > 24 else 0


def _is_text(opening: bytes) -> bool:
    for cut in range(4):  # the opening may end within a letter of up to four bytes
        if _is_utf8(opening[: len(opening) - cut]):
            text = opening[: len(opening) - cut].decode()
            return all(letter.isprintable() or letter.isspace() for letter in text)
    return False


def _is_utf8(content: bytes) -> bool:
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _brands(data: bytes) -> set[bytes]:
    end = min(int.from_bytes(data[:4], "big"), len(data), 256)
    return {data[at : at + 4] for at in (8, *range(16, end, 4))}


# Each of these returns how many bytes the file should at least have;
# None where that is not known but some are missing.


def _jpeg_bytes(data: bytes) -> int | None:
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker, size = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xFF:  # a fill byte before a marker
            at += 1
            continue
        at += 2 + size
        if marker == 0xDA:
            # In coded data FF is always followed by 00 or a restart mark, so FF D9 is the end.
            end = data.find(b"\xff\xd9", at)
            return None if end < 0 else end + 2
    return None


def _png_bytes(data: bytes) -> int | None:
    end = data.rfind(_PNG_END)
    return None if end < 0 else end + len(_PNG_END)


def _webp_bytes(data: bytes) -> int:
    return int.from_bytes(data[4:8], "little") + 8


def _boxes(data: bytes, at: int, end: int):
    """Name, start and end of the content of each box, ISO/IEC 14496-12; ends may lie outside."""
    while at + 8 <= end:
        size, name, start = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8], at + 8
        if size == 1:
            size, start = int.from_bytes(data[at + 8 : at + 16], "big"), at + 16
        last = end if size == 0 else at + max(size, 8)
        yield name, start, last
        at = last


def _heic_bytes(data: bytes) -> int:
    """Up to the end of the last box, or of what an item is said to have behind it."""
    ends = [8]
    for name, start, last in _boxes(data, 0, len(data)):
        ends.append(last)
        # Four bytes of version and flags come before the boxes within.
        within = _boxes(data, start + 4, last) if name == b"meta" else ()
        ends += [_items_end(data[at:end]) for name, at, end in within if name == b"iloc"]
    return max(ends)


def _items_end(places: bytes) -> int:
    """Where the last part of any item ends in the file, by the content of an iloc box; 0 where the box is garbled.

    ISO/IEC 14496-12, 8.11.3, from memory. Items whose parts lie elsewhere than in the file's bytes are passed over.
    """
    at, last = 0, 0

    def number(size: int) -> int:
        nonlocal at
        at += size
        if at > len(places):
            raise struct.error("the list ends early")
        return int.from_bytes(places[at - size : at], "big")

    try:
        version, _, sizes, more = number(1), number(3), number(1), number(1)
        index_size = more & 15 if version in (1, 2) else 0
        for _ in range(number(4 if version == 2 else 2)):
            number(4 if version == 2 else 2)
            in_file = version == 0 or number(2) & 15 == 0
            elsewhere, base = number(2), number(more >> 4)
            for _ in range(number(2)):
                number(index_size)
                offset, length = number(sizes >> 4), number(sizes & 15)
                if in_file and not elsewhere:
                    last = max(last, base + offset + length)
    except struct.error:
        return 0
    return last


def _heic_damaged(data: bytes) -> bool:
    """An item's type is no text: pi-heif 1.4 ends the whole process over it."""
    for name, start, end in _boxes(data, 0, len(data)):
        at = start - 4
        while name == b"meta" and (at := data.find(b"infe", at + 4, end)) >= 0:
            size = int.from_bytes(data[at - 4 : at], "big")
            # Version 2 has the item's number in two bytes, version 3 in four.
            text = data[at + (14 if data[at + 4] == 3 else 12) : at - 4 + size]
            if not _is_utf8(text):
                return True
    return False


def _tiff_bytes(data: bytes) -> int | None:
    """Up to the last of the picture's strips or tiles. Decoders refuse one that is cut off too, but as damaged."""
    order = "<" if data[:2] == b"II" else ">"
    if data[2:4] in (b"+\0", b"\0+"):  # the 64-bit kind: left to the decoder
        return len(data)
    try:
        (directory,) = struct.unpack_from(order + "I", data, 4)
        (count,) = struct.unpack_from(order + "H", data, directory)
        entries = [
            struct.unpack_from(order + "HHI4s", data, directory + 2 + 12 * n) for n in range(count)
        ]
        fields = {
            tag: _tiff_numbers(data, order, kind, n, inline)
            for tag, kind, n, inline in entries
            if tag in _PARTS
        }
    except struct.error:
        return None
    ends = [0]
    for offsets, sizes in ((273, 279), (324, 325)):
        ends += [
            a + b for a, b in zip(fields.get(offsets, ()), fields.get(sizes, ()), strict=False)
        ]
    return max(ends)


# TIFF 6.0: StripOffsets, StripByteCounts, TileOffsets, TileByteCounts.
_PARTS = (273, 279, 324, 325)


def _tiff_numbers(data: bytes, order: str, kind: int, count: int, inline: bytes) -> tuple[int, ...]:
    letter = {3: "H", 4: "I"}.get(kind)
    if letter is None:
        return ()
    size = struct.calcsize(letter) * count
    if size <= 4:
        return struct.unpack_from(f"{order}{count}{letter}", inline)
    (offset,) = struct.unpack(order + "I", inline)
    if offset + size > len(data):
        raise struct.error("the list lies behind the end of the file")
    return struct.unpack_from(f"{order}{count}{letter}", data, offset)
