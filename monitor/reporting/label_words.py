"""What was read of a battery's label, as the command and the page show it: rows of label, value, note."""
from monitor.battery.label import KIND_WORDS
from monitor.planning.labels import BatteryLabel
from monitor.planning.labels_fit import Fit
from monitor.planning.labels_ratings import Span
from monitor.reporting.sentences import capitalise, number

CAUTION = ("Codes say what a standard means by them, not what the shop sells under them: measure the box, look at the posts and at which "
           "side plus is on before you pay. A start-stop vehicle needs the kind it came with. Lithium needs a charger made for it.")
VERDICTS = {"yes": "It fits.", "tight": "It may just fit.", "no": "It does not fit.", "unknown": "Whether it fits is not known."}


def describe_headline(label: BatteryLabel) -> str:
    """The label in one line.

    >>> from monitor.planning.labels import read_label
    >>> describe_headline(read_label("12V 95Ah AGM"))
    '95 Ah, AGM'
    """
    kind = KIND_WORDS.get(label.kind, "kind not on the label")
    if label.capacity_ah is None:
        return f"Capacity not on the label, {kind}"
    return f"{'' if label.capacity_ah.exact else 'About '}{number(label.capacity_ah.usual)} Ah, {kind}"


def list_worth(label: BatteryLabel) -> list[tuple[str, str, str]]:
    """What it is worth on one scale, as (label, value, note)."""
    rows = []
    if label.capacity_ah is not None:
        rows.append(("Capacity over 20 hours" if label.kind != "lfp" else "Capacity", _span(label.capacity_ah, "Ah"),
                     label.capacity_from))
    if label.energy_wh is not None and label.usable_wh is not None:
        share = "nine tenths" if label.kind == "lfp" else "half"
        rows.append(("Energy", f"{number(label.energy_wh)} Wh", f"{number(label.usable_wh)} Wh to use: {share} of it"))
    if label.cranking_sae_a is not None and label.cranking_en_a is not None:
        rows.append(("Cold cranking, SAE", _span(label.cranking_sae_a, "A"), "7.2 V after 30 s at −18 °C"))
        rows.append(("Cold cranking, EN", _span(label.cranking_en_a, "A"), "7.5 V after 10 s at −18 °C"))
    if label.reserve_min is not None:
        rows.append(("Reserve capacity", _span(label.reserve_min, "min"), "at 25 A down to 10.5 V"))
    return rows


def list_shape(label: BatteryLabel) -> list[tuple[str, str, str]]:
    """Its box, posts and weight, as (label, value, note)."""
    rows = []
    if label.size is not None:
        box = label.size
        rows.append(("Length × width × height", f"{number(box.length_mm)} × {number(box.width_mm)} × {number(box.height_mm)} mm",
                     f"within {number(box.doubt_mm)} mm; " + ("with posts" if box.with_posts else "without posts")))
    if label.plus:
        rows.append(("Plus post", f"on the {label.plus}", label.seen))
    if label.posts:
        rows.append(("Posts", label.posts.partition(":")[0].partition(",")[0], label.posts.partition(",")[2].strip()))
    if label.weight_kg is not None:
        rows.append(("Weight", f"{number(label.weight_kg, 1)} kg", ""))
    return rows


def describe_fit(fit: Fit) -> str:
    """Whether it goes into the tray, in a sentence or two."""
    how = f" ({fit.posture})" if fit.posture and fit.verdict in ("yes", "tight") else ""
    reasons = "; ".join(fit.reasons)
    return f"{VERDICTS[fit.verdict][:-1]}{how}: {reasons}." if reasons else VERDICTS[fit.verdict]


def describe_reasons(fit: Fit) -> str:
    """Why it fits or does not, in a sentence."""
    return capitalise(f"{f'{fit.posture}: ' if fit.posture else ''}{'; '.join(fit.reasons)}.")


def describe_candidate(label: BatteryLabel) -> str:
    """The label as a set-up that `ampledger whatif` takes, "" where its capacity or kind is not known.

    >>> from monitor.planning.labels import read_label
    >>> describe_candidate(read_label("12V 95Ah AGM"))
    'chemistry=agm,capacity=95'
    """
    if label.capacity_ah is None or not label.kind:
        return ""
    return f"chemistry={label.kind},capacity={label.capacity_ah.usual:.0f}"


def _span(span: Span, unit: str) -> str:
    if span.exact:
        return f"{number(span.usual)} {unit}"
    return f"{number(span.usual)} {unit}, range {number(span.low)} to {number(span.high)}"
