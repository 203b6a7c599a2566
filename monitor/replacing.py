"""dataclass and dataclasses.replace for states that are made anew each minute: the same results, in a third of the time.

A frozen class's constructor sets each field by a call that looks for the class's own `__setattr__`. Here a new object is filled as one
of a twin class, of the same slots but not frozen, and then made one of its own class: Python lets an object change to a class of the
same layout (data model, "__class__"). Both functions are written out for a class when they are first wanted, as the library does it.
"""
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass, replace
else:
    import dataclasses
    from functools import wraps

    #: class -> its own replace
    _REPLACE: dict[type, Any] = {}

    def dataclass(**options):
        """The library's decorator; classes that are frozen and have slots get the quicker constructor."""
        def decorate(kind):
            made = dataclasses.dataclass(**options)(kind)
            return _hurried(made) if options.get("frozen") and options.get("slots") and options.get("init", True) else made

        return decorate

    def replace(one, /, **changes):
        """A new object of the same class with some fields changed.

        Raises
        ------
        TypeError : a field that it has not
        """
        kind = one.__class__
        made = _REPLACE.get(kind)
        if made is None:
            made = _REPLACE[kind] = _replace_of(kind)
        return made(one, **changes)

    def _names(kind):
        """Names of the fields of a class whose objects can be filled as those of a twin; None where its constructor has more to do."""
        found = dataclasses.fields(kind)
        plain = kind.__bases__ == (object,) and tuple(vars(kind).get("__slots__", ())) == tuple(f.name for f in found) and (
            not hasattr(kind, "__post_init__"))
        usual = all(f.init and not f.kw_only and f.default_factory is dataclasses.MISSING for f in found)
        return [f.name for f in found] if found and plain and usual else None

    def _written(lines, kind, names):
        """The function `made` of some lines of code, which know a class and its twin."""
        known = {"_Kind": kind, "_Twin": type(kind.__name__, (), {"__slots__": tuple(names)}), "_new_object": object.__new__,
                 "_become": object.__setattr__, "_SAME": object()}
        exec("\n    ".join(lines), known)
        return known["made"]

    def _hurried(kind):
        """A class whose constructor is written anew when the first of its objects is made."""
        plain = kind.__init__

        @wraps(plain)
        def first(self, *values, **named):
            kind.__init__ = _constructor_of(kind, plain)
            kind.__init__(self, *values, **named)

        kind.__init__ = first
        return kind

    def _constructor_of(kind, plain):
        names = _names(kind)
        if names is None:
            return plain
        made = _written([f"def made(self, {', '.join(names)}):", "_become(self, '__class__', _Twin)",
                         *(f"self.{name} = {name}" for name in names), "self.__class__ = _Kind"], kind, names)
        made.__defaults__ = plain.__defaults__
        return wraps(plain)(made)

    def _replace_of(kind):
        names = _names(kind)
        if names is None:
            return _by_constructor
        made = _written([f"def made(_one, /, *, {', '.join(f'{name}=_SAME' for name in names)}):", "_new = _new_object(_Twin)",
                         *(f"_new.{name} = _one.{name} if {name} is _SAME else {name}" for name in names),
                         "_new.__class__ = _Kind", "return _new"], kind, names)
        made.__qualname__ = f"replace of {kind.__name__}"
        return made

    def _by_constructor(one, /, **changes):
        return dataclasses.replace(one, **changes)

__all__ = ["dataclass", "replace"]
