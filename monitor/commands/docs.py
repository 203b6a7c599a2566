"""ampledger docs: the documentation, on the board itself."""
import click

from monitor import documents


@click.command(short_help="Show the documentation that came with this program.")
@click.argument("name", required=False)
def docs(name: str | None) -> None:
    """Show a document, or list them all. The pages serve them too: Documents, at the foot of each page.

    They lie on this machine as Markdown; nothing is fetched from anywhere.
    """
    from rich.console import Console
    from rich.markdown import Markdown

    from monitor.cli import Refused

    place = documents.folder()
    if place is None:
        raise Refused("the documents were left out when this was installed; a package or a checkout has them")
    if name is None:
        width = max(map(len, documents.names()))
        for heading, row in documents.shelves().items():
            click.echo(f"{heading}:")
            click.echo("\n".join(f"  {one:<{width}}  {documents.title(one)}" for one in row))
        click.echo(f"\nThey lie in {place}; read one with: ampledger docs install")
        return
    name = name.rpartition("/")[2].removesuffix(".md")
    try:
        text = documents.read(name)
    except KeyError:
        raise Refused(f"no document called {name!r}; there are {', '.join(documents.names())}") from None
    console = Console()
    if not console.is_terminal:
        click.echo(text)
        return
    with console.pager(styles=True, links=True):
        console.print(Markdown(text))
