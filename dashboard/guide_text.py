"""A guide's Markdown as HTML: chapters that can be linked to, cautions framed, links to what this board shows itself."""
import re
from functools import lru_cache

from flask import request, url_for
from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup

from monitor import documents
from monitor.guides.text import read_guide

#: Document in docs/ -> the page here that shows it in another form; the others are shown as they are, below Documents.
PAGES = {"wiring.md": "guides.wiring", "starting-help.md": "guides.starting_help", "alerts.md": "pages.alerts"}


def list_chapters(name: str) -> list[tuple[str, str]]:
    """The guide's chapters as (anchor, heading)."""
    return [(_anchor(heading), heading) for heading in re.findall(r"^## (.+)$", read_guide(name), re.M)]


def render_guide(name: str) -> tuple[Markup, Markup]:
    """A guide as HTML in two parts: what stands before its picture or first chapter, and the rest. Its title is left out."""
    return _guide(name, request.script_root)


def render_document(name: str) -> tuple[str, Markup]:
    """A document's heading and the rest of it as HTML. Raises KeyError where there is none of that name."""
    return _document(name, request.script_root)


@lru_cache(maxsize=64)
def _guide(name: str, _root: str) -> tuple[Markup, Markup]:
    """Kept for each place that the pages are served below: in a fleet its links are those of one vehicle."""
    text = read_guide(name).split("\n", 1)[1]
    before, _, after = text.partition("\n![") if "\n![" in text else text.partition("\n## ")
    after = after.split("\n", 1)[1] if "\n![" in text else f"## {after}"
    return _html(before), _html(after)


@lru_cache(maxsize=64)
def _document(name: str, _root: str) -> tuple[str, Markup]:
    heading, _, rest = documents.read(name).partition("\n")
    return heading.lstrip("# ").strip(), _html(rest)


def _html(text: str) -> Markup:
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = reader.parse(text)
    for number, token in enumerate(tokens):
        if token.type == "heading_open":
            token.attrSet("id", _anchor(tokens[number + 1].content))
        if token.type == "blockquote_open":
            token.attrSet("class", "caution")
        if token.type == "inline":
            token.children = _rewrite_links(token.children or [])
    html = reader.renderer.render(tokens, reader.options, {})
    html = html.replace("<pre>", '<pre tabindex="0">')  # wider than a phone: scrolled by the keyboard too
    return Markup(html.replace("<table>", '<div class="scroll"><table class="guide-table">').replace("</table>", "</table></div>"))


def _rewrite_links(children: list[Token]) -> list[Token]:
    """The same words with links to pages of this board, and none to documents that are not here."""
    found, dropping, name = [], False, ""
    for child in children:
        if child.type == "link_open":
            document = str(child.attrGet("href")).partition("#")[0]
            name = document.removesuffix(".md")
            dropping = document not in PAGES and (not document.endswith(".md") or name not in documents.names())
            if not dropping:
                child.attrSet("href", url_for(PAGES[document]) if document in PAGES else url_for("guides.document", name=name))
        if child.type == "image" and (picture := str(child.attrGet("src")).removesuffix(".png")) in documents.pictures():
            child.attrSet("src", url_for("guides.document_picture", name=picture))
            child.attrSet("loading", "lazy")
            child.attrSet("class", "shot")
            found.append(child)
            continue
        if child.type == "image" or dropping and child.type in ("link_open", "link_close"):
            continue
        if child.type == "text" and child.content == f"{name}.md" and name in documents.names():
            child.content = documents.title(name)
        found.append(child)
    return found


def _anchor(heading: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", heading.lower()).strip("-")
