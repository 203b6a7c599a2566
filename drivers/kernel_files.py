"""Small text files in which the kernel shows measurements."""
import os
from pathlib import Path

from drivers.errors import CannotOpen, ReadFailed


def number(path: Path) -> float:
    """The one number in a file.

    Raises
    ------
    ReadFailed : the file is missing, empty, answers with an error (ENODATA: channel off) or holds no number
    """
    try:
        text = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise ReadFailed(f"{path}: {getattr(error, 'strerror', None) or error}") from error
    try:
        value = float(text)
    except ValueError:
        raise ReadFailed(f"{path}: {text[:40]!r} is not a number" if text else f"{path}: empty") from None
    if value - value != 0.0:
        raise ReadFailed(f"{path}: {text[:40]!r} is not a measurement")
    return value


def text(path: Path) -> str | None:
    """What a name or label file says, or None where there is none."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return None


def words(folder: Path) -> list[str]:
    """What a device may be called: its name, its label, its place, its number; the later, the more particular."""
    place = folder / "device"
    if not place.exists() and folder.is_symlink():
        place = folder.resolve().parent  # iio devices have no such link; the folder they are in says the same
    found = [text(folder / "name"), text(folder / "label"), place.resolve().name if place.exists() else None,
             folder.name]
    return [word for word in dict.fromkeys(found) if word]


def device(root: Path, pattern: str, wanted: str, kind: str) -> Path:
    """The folder of the device whose name or label file says `wanted`, or that hangs at the place `wanted`.

    Looked for anew when needed: the kernel numbers devices in the order they appear, so only the name is stable.
    Two of one name without labels are told apart by their place, as 1-0040: bus 1, address 0x40.

    root: folder of all devices of the kind; pattern: names of their folders in it; wanted: name, label or place of the one; kind:
    what a message calls it.

    Raises
    ------
    CannotOpen : none, or more than one
    """
    seen: dict[str, list[Path]] = {}
    for folder in sorted(root.glob(pattern)):
        for word in words(folder):
            seen.setdefault(word, []).append(folder)
    found = seen.get(wanted, [])
    if len(found) == 1:
        return found[0]
    if found:
        raise CannotOpen(f"{len(found)} {kind}s are called {wanted!r} under {root}: "
                         f"{', '.join(f.name for f in found)}; name one of them by its label or its place, of: " +
                         f"{', '.join(sorted(w for w, at in seen.items() if len(at) == 1))}")
    names = ", ".join(sorted(seen)) or "none"
    raise CannotOpen(f"no {kind} called {wanted!r} under {root}; there is: {names}. "
                     "Check that its kernel module is loaded and the name is spelt as in its name file")


class Device:
    """A device found by its name, and found again when it went and came back under another number."""

    def __init__(self, root: Path, pattern: str, wanted: str, kind: str) -> None:
        self._search = root, pattern, wanted, kind
        self._folder = device(*self._search)
        self._identity = self._identify()

    def folder(self) -> Path:
        """Where it is now. Raises ReadFailed: it is gone.

        A folder of the same number may by now be another device's: its inode tells.
        """
        seen = self._identify()
        if seen is None or seen != self._identity:
            try:
                self._folder = device(*self._search)
            except CannotOpen as error:
                raise ReadFailed(str(error)) from error
            self._identity = self._identify()
        return self._folder

    def _identify(self) -> tuple[int, int] | None:
        try:
            there = os.stat(self._folder)
        except OSError:
            return None
        return there.st_dev, there.st_ino
