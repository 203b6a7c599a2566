"""A text made small by another one that is much like it (zlib with a preset dictionary, RFC 1950)."""
import zlib

#: What zlib can look back to.
WINDOW = 32768


def shrink(text: str, like: str) -> bytes:
    """The text in few bytes, for one who has `like`."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 15, 9, zlib.Z_DEFAULT_STRATEGY, like.encode()[-WINDOW:])
    return packer.compress(text.encode()) + packer.flush()


def restore(small: bytes, like: str) -> str:
    """The text again.

    Raises
    ------
    ValueError : it was shrunk by another text, or is damaged
    """
    try:
        unpacker = zlib.decompressobj(15, like.encode()[-WINDOW:])
        return (unpacker.decompress(small) + unpacker.flush()).decode()
    except (zlib.error, UnicodeDecodeError) as error:
        raise ValueError(f"cannot be restored: {error}") from error
