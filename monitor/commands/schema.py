"""ampledger schema: the JSON Schema of the configuration file."""
import click


@click.command(short_help="Print the JSON Schema of ampledger.toml, for editors.")
def schema() -> None:
    """Print the JSON Schema of ampledger.toml.

    An editor that knows it completes keys and marks mistakes while you write. The same text lies
    as ampledger.schema.json in the folder that `ampledger docs` names.
    Options of a driver are not in it; `ampledger docs drivers` has them.
    """
    from monitor.config.load import schema_text

    click.echo(schema_text(), nl=False)
