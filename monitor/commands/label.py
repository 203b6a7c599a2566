"""ampledger label: what the label of a battery in a shop says, whether it fits, and what it would have done on your own nights."""
import json
import sys
from dataclasses import asdict
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database


@click.command(short_help="Read a battery's label part by part; does it fit, what is it worth on your nights.")
@click.argument("text", nargs=-1, required=True)
@click.option("--kind", type=click.Choice(["flooded", "agm", "gel", "lfp"]), help="Its kind, where the label does not say.")
@click.option("--tray", metavar="LxWxH", help="Room in your tray in mm, as 300x180x230: says whether it goes in.")
@click.option("--lying", is_flag=True, help="It may lie on a side.")
@click.option("--nights", is_flag=True, help="Replay the latest weeks of the log with it, beside today's battery, and say how long it "
                                             "would live.")
@click.option("--days", default=60, show_default=True, type=click.IntRange(3, 730), help="Latest days of the log to replay.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, units in the names.")
@config_option
@database_option
def label(text: tuple[str, ...], kind: str | None, tray: str | None, lying: bool, nights: bool, days: int, as_json: bool,
          config_file: Path | None, database: Path | None) -> None:
    """Read TEXT, typed off a battery: codes (JIS, SBA, EN, BCI, European type number), Ah at any rate, Wh, cold-cranking amperes by any
    norm, reserve minutes, sides in mm, where plus is.

    Says part by part how it was read, and brings it to one scale with a range. Makers' own numbers say nothing and are named.
    As: ampledger label "12V 95Ah 850A EN 353x175x190 AGM" or ampledger label 55B24R --tray 250x135x230
    """
    from monitor.cli import Refused
    from monitor.planning.labels import read_label
    from monitor.planning.labels_fit import check_fit, read_tray
    from monitor.reporting import label_words as words

    try:
        found = read_label(f"{' '.join(text)} {kind or ''}".strip())
        fit = check_fit(found, read_tray(tray, lying)) if tray is not None else None
    except ValueError as error:
        raise Refused(str(error)) from None
    if as_json:
        click.echo(json.dumps(asdict(found) | {"fit": asdict(fit) if fit else None, "caution": words.CAUTION}, indent=1,
                              ensure_ascii=False))
        return
    click.echo(f"{words.describe_headline(found)}.")
    for heading, rows in (("Worth", words.list_worth(found)), ("Shape", words.list_shape(found)),
                          ("Read as", [(part.text, part.meaning, "") for part in found.parts])):
        if rows:
            click.echo(f"\n{heading}")
        for name, value, note in rows:
            click.echo(f"  {name + ':':28}{value}{f' ({note})' if note else ''}")
    for sentence in (*found.doubts, *found.unknown):
        click.echo(f"\n{sentence}")
    if fit is not None:
        click.echo(f"\n{words.describe_fit(fit)}")
    if nights:
        _print_nights(words.describe_candidate(found), days, locate_database(config_file, database))
    click.echo(f"\n{words.CAUTION}")


def _print_nights(candidate: str, days: int, database: Path) -> None:
    """The latest weeks again with this battery, beside today's, and the years each would live."""
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.planning import whatif
    from monitor.planning.candidates import setup
    from monitor.planning.logged_life import describe_logged
    from monitor.reporting import life_words
    from monitor.reporting.sentences import number

    if not candidate:
        raise Refused("its capacity or its kind is not on the label, so it cannot be tried on your nights: add them, as 95Ah AGM")
    try:
        _, life, known = describe_logged(Reader(database), days)
        slots, rms = whatif.explain(life, known)
    except (ValueError, whatif.NotExplained) as error:
        raise Refused(str(error)) from None
    other = setup(known.setup, candidate)
    if sys.stderr.isatty():
        click.echo("replaying the log …", err=True)
    click.echo("\nOn your own nights")
    for name, answer in zip(("today's battery", "this one"), whatif.ask(slots, known, [other], rms), strict=True):
        nights, lowest = answer.nights_below_per_30, answer.lowest_frac
        click.echo(f"  {name + ':':28}{number(nights.value)} nights in 30 below the reserve "
                   f"({number(nights.low)} to {number(nights.high)}), lowest {number(100 * lowest.value)} %; "
                   f"new and used like this: {life_words.describe_years(answer.years)}")
    click.echo(f"  Weight: {len(slots) / 96:.0f} days of log; the model matches your log to {100 * rms:.1f} %.")
