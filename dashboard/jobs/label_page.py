"""Page Label: what the label of a battery in a shop says, part by part, whether it fits, and the way to your own nights."""
from urllib.parse import urlencode

from flask import render_template, request, url_for

from dashboard import log_view as books
from dashboard.jobs.blueprint import jobs
from monitor.battery.label import KIND_WORDS
from monitor.planning.labels import LONGEST, read_label
from monitor.planning.labels_fit import check_fit, read_tray
from monitor.reporting import label_words as words
from monitor.reporting.sentences import sentence

#: What can be typed to see how it works.
EXAMPLES = ("12V 95Ah 850A EN 353x175x190 AGM", "55B24R", "Group 31 RC 180", "LiFePO4 100Ah 1280Wh")


@jobs.get("/label")
def label():
    """What was read of the label in the address."""
    given = {"text": request.args.get("text", "").strip()[:LONGEST], "kind": request.args.get("kind", "")[:8],
             "tray": request.args.get("tray", "").strip()[:30], "lying": request.args.get("lying", "")[:1]}
    found, fit, wrong, nights = None, None, "", ""
    if given["text"]:
        try:
            found = read_label(f"{given['text']} {given['kind'] if given['kind'] in KIND_WORDS else ''}".strip())
            fit = check_fit(found, read_tray(given["tray"], given["lying"] == "1")) if given["tray"] else None
        except ValueError as error:
            found, wrong = None, sentence(error)
    if found is not None and (candidate := words.describe_candidate(found)):
        pairs = dict(pair.split("=") for pair in candidate.split(","))
        nights = f"{url_for('jobs.what_if')}?{urlencode({f'a-{key}': value for key, value in pairs.items()})}"
    return render_template("label.html", title="Label", page="label", book=books.open_if_readable(), given=given,
                           found=found, fit=fit, wrong=wrong, nights=nights, words=words,
                           kinds=KIND_WORDS, examples=EXAMPLES), 400 if wrong else 200
