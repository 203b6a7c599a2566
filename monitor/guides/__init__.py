"""Guides for the owner: how it is wired, what to do when it will not start; as text and picture, for docs, pages and terminal."""
