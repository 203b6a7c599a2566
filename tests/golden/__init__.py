"""Golden replays: what the trackers conclude, kept word for word, so that every change shows what it moves.

`python -m tests.golden` (or `make golden`) rewrites all of findings/, with `--only NAME` (as often as
wanted) some of it. A commit that rewrites them says in its body which figures moved, by how much and why:
review reads the diff like code. Golden replays say what changed, never what is right; the tests
against truth say that.
"""
