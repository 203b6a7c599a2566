"""The guides' text, in Markdown, as it is packaged; docs/ holds the same text."""
from importlib.resources import files

#: guide -> its file here, and the document in docs/ that is the same.
GUIDES = {"wiring": ("wiring.md", "wiring.md"), "starting-help": ("starting_help.md", "starting-help.md")}


def read_guide(name: str) -> str:
    """A guide's Markdown."""
    return (files("monitor.guides") / GUIDES[name][0]).read_text(encoding="utf-8")
