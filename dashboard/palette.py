"""The two inks of the book, by day and by night; the same values as in static/style.css."""
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of a figure. received, spent and starter stay apart for colour-blind eyes and in sunlight."""

    sheet: str
    ink: str
    faint: str       # words of second rank, still readable
    rule: str        # ruled lines
    dusk: str        # ground of a night
    gap: str         # ground of what was not measured
    received: str
    spent: str
    starter: str
    received_band: str
    spent_band: str
    starter_band: str


DAY = Palette(
    sheet="#fbfcf6", ink="#14211a", faint="#46564b", rule="#c3d2ba", dusk="rgba(40,62,84,0.10)",
    gap="rgba(20,33,26,0.10)", received="#1b4079", spent="#9a2b20", starter="#7a5300",
    received_band="rgba(27,64,121,0.20)", spent_band="rgba(154,43,32,0.20)", starter_band="rgba(122,83,0,0.20)",
)
NIGHT = Palette(
    sheet="#131a16", ink="#e3e9de", faint="#a9b6aa", rule="#324037", dusk="rgba(120,150,190,0.13)",
    gap="rgba(227,233,222,0.12)", received="#8db7f0", spent="#f0988b", starter="#ddb765",
    received_band="rgba(141,183,240,0.24)", spent_band="rgba(240,152,139,0.24)", starter_band="rgba(221,183,101,0.24)",
)
PALETTES = {"day": DAY, "night": NIGHT}
