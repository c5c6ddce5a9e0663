"""What may be kept as a photo: told from its first bytes, never from its name."""

from __future__ import annotations

import hashlib

from ringout.records.model import StoreError

MOST_BYTES = 12_000_000
_HEIC = {b"heic", b"heix", b"mif1", b"msf1", b"hevc"}


def check_picture(content: bytes) -> tuple[str, str]:
    """Return the kind of a picture and the hash of its bytes.

    Args:
        content: the bytes of a file.

    Raises:
        StoreError: it is no picture of a known kind, or too large.
    """
    if len(content) > MOST_BYTES:
        raise StoreError(
            f"the photo has {len(content) / 1e6:.1f} MB; {MOST_BYTES / 1e6:.0f} MB are the most",
            "make it smaller",
        )
    kind = _kind(content)
    if not kind:
        raise StoreError(
            "the file is no JPEG, PNG, WebP or HEIC picture", "take a photo, or save it as JPEG"
        )
    return kind, hashlib.sha256(content).hexdigest()


def _kind(content: bytes) -> str:
    if content.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "webp"
    if content[4:8] == b"ftyp" and content[8:12] in _HEIC:
        return "heic"
    return ""
