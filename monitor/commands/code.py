"""ampledger code: a code for changing things from the pages, hashed."""
import click

LEAST = 8


@click.command(short_help="Hash a code that the pages will ask for.")
def code() -> None:
    """Ask for a code and print the configuration line that holds its hash (scrypt).

    Put the line below [dashboard]. From then on the pages ask for the code before an alert is
    marked as seen or set to come again later. The code itself is stored nowhere: whoever forgets it makes a new one.
    """
    from werkzeug.security import generate_password_hash

    from monitor.cli import Refused

    text = click.prompt("Code", hide_input=True, confirmation_prompt="The same again")
    if len(text) < LEAST:
        raise Refused(f"the code needs {LEAST} characters or more; three words that have nothing to do with each other are good")
    click.echo("[dashboard]")
    click.echo(f'code_hash = "{generate_password_hash(text, method="scrypt")}"')
