"""ampledger wire: gone; says what took its place. For one release."""
import click


@click.command(short_help="Replaced by `ampledger circuit`.", context_settings={"ignore_unknown_options": True})
@click.argument("rest", nargs=-1, type=click.UNPROCESSED, expose_value=False)
def wire() -> None:
    """Replaced by `ampledger circuit`, which sizes a cable by heat and short circuit too, not by drop alone."""
    from monitor.cli import Refused

    raise Refused("`wire` is gone, because a cable sized by drop alone can burn: ask `ampledger circuit --current 30 --length 4` "
                  "(see `ampledger circuit --help`)")
