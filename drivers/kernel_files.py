"""Small text files in which the kernel shows measurements."""
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


def device(root: Path, pattern: str, wanted: str, kind: str) -> Path:
    """The folder of the device whose name or label file says `wanted`.

    Looked for anew when needed: the kernel numbers devices in the order they appear, so only the name is stable.

    Raises
    ------
    CannotOpen : none, or more than one
    """
    seen: dict[str, list[Path]] = {}
    for folder in sorted(root.glob(pattern)):
        for word in {text(folder / "name"), text(folder / "label"), folder.resolve().name} - {None, ""}:
            seen.setdefault(word, []).append(folder)
    found = seen.get(wanted, [])
    if len(found) == 1:
        return found[0]
    if found:
        raise CannotOpen(f"{len(found)} {kind}s are called {wanted!r} under {root}: "
                         f"{', '.join(f.name for f in found)}; name one of them by its label or its folder")
    names = ", ".join(sorted(seen)) or "none"
    raise CannotOpen(f"no {kind} called {wanted!r} under {root}; there is: {names}. "
                     "Check that its kernel module is loaded and the name is spelt as in its name file")
