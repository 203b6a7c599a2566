"""dataclass and dataclasses.replace for states that are made anew each minute: the same results, in a third of the time.

Nobody assigns to a state once it is made: mypy refuses it. The library refuses it at run time too, for which its constructor sets each
field by a call around the class's own `__setattr__`: twice the time of plain assignments. So this guard stands only where
AMPLEDGER_GUARDED is set; a test lives a day with it.
"""
import os
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass, replace
else:
    import dataclasses

    GUARDED = bool(os.environ.get("AMPLEDGER_GUARDED"))
    #: class -> what copies an object of it
    _COPY: dict[type, Any] = {}

    def dataclass(**options):
        """The library's decorator; classes that are frozen and have slots go without the guard at run time."""
        def decorate(kind):
            if GUARDED or not options.get("frozen") or not options.get("slots"):
                return dataclasses.dataclass(**options)(kind)
            hashed = options.get("eq", True) and "__hash__" not in vars(kind)      # as the library has it for what is frozen
            return dataclasses.dataclass(**{**options, "frozen": False, "unsafe_hash": hashed})(kind)

        return decorate

    def replace(one, /, **changes):
        """A new object of the same class with some fields changed.

        Raises
        ------
        TypeError : a field that it has not
        """
        kind = one.__class__
        copy = _COPY.get(kind)
        if copy is None:
            copy = _COPY[kind] = _copy_of(kind)
        if copy is _NONE:
            return dataclasses.replace(one, **changes)
        new = copy(one)
        try:
            for name, value in changes.items():
                setattr(new, name, value)
        except AttributeError:
            return dataclasses.replace(one, **changes)      # it says which field the class has not
        return new

    def _NONE(one):
        """Stands for a class whose objects only its constructor can make."""
        raise NotImplementedError

    def _copy_of(kind):
        """What copies an object of a class, written out for it; _NONE where the constructor has more to do than to set fields."""
        found = dataclasses.fields(kind)
        names = tuple(f.name for f in found)
        plain = kind.__bases__ == (object,) and tuple(vars(kind).get("__slots__", ())) == names and not hasattr(kind, "__post_init__")
        if not (found and plain and kind.__setattr__ is object.__setattr__ and all(f.init for f in found)):
            return _NONE
        known = {"_Kind": kind, "_new_object": object.__new__}
        lines = ["def copy(_one):", "_new = _new_object(_Kind)", *(f"_new.{name} = _one.{name}" for name in names), "return _new"]
        exec("\n    ".join(lines), known)
        return known["copy"]

__all__ = ["dataclass", "replace"]
