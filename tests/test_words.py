"""Plain words everywhere: no page, command, alert or guide says what a mate at camp would not."""
import re

from tests.words import texts

#: What must not be said -> what is said instead.
NOT_SAID = {
    r"\bnought\b": "zero",
    r"foretold": "forecast",
    r"\bwears it": "use and wear",
    r"leaves it\b(?!s)": "drain while parked",
    r"\b(stands?|standing) alone": "separate from house; at rest",
    r"\btold\b": "say what happens: warned, shown, given, recorded",
    r"(?<!may be )(?<!is )\bheld\b(?! (full|at|on|back|above|by hand))": "kept, contained",
    r"nothing needs doing": "nothing to do",
    r"read just now": "updated just now",
    r"(?<!left )above the reserve\b(?=[',]\s*figure)": "left above reserve",
    r"down to empty": "left until empty",
    r"carr(y|ies) the load": "solar takes over",
    r"of (its|the) label\b": "of rated capacity",
    r"standing loss": "no drain found",
    r"becomes? doubtful": "should start the engine for",
    r"went away|goes? away": "cleared, clears when",
    r"closes the gap": "what you can do",
    r"never sleeps": "always-on loads",
    r"should tomorrow": "if tomorrow is cloudy",
    r"who takes the charge": "where it goes",
    r"what happened": "events",
    r"asks? for a look": "needs attention",
    r"look first": "check first",
    r"\bseen it\b": "mark as seen",
    r"\bput(ting)? (it |an alert )?aside": "remind me in",
    r"what says so": "evidence",
    r"overturned": "would change with",
    r"gave from full": "deepest discharge so far",
    r"\bis off by": "zero error, misses by",
    r"ageing by warmth": "ageing rate from temperature",
    r"batteries so far": "battery history",
    r"nineteen": "95 %",
    r"unserved": "Ah that were missing",
    r"until told": "until stopped",
    r"\bsay where": "show",
    r"\bproved\b": "verified",
    r"ends with 1\b": "exit code 1",
    r"each way out": "each channel",
    r"keeps the books": "watches",
    r"what is where": "the pages",
    r"another number, another": "random seed",
    r"all its digits": "as displayed",
    r"may mind": "can disturb",
    r"nobody vouches": "not synchronised",
    r"none waits": "none waiting",
    r"no complaints": "no storage errors",
    r"\bread this book": "read these pages",
    r"the index leads": "use the menu",
    r"needs the code of": "enter the access code",
    r"took less and less": "full (charging current has tailed off)",
    r"start judged": "good start",
    r"still sound is not": "too early to judge",
    r"acid alone": "estimated from resting voltage",
    r"against its first weeks": "change since first weeks",
    r"short bursts": "pump and other short loads",
    r"chances? said": "chance given",
    r"8 in 10 lie": "80 % range",
    r"another span of": "choose dates",
    r"is meant to stay": "at your reserve",
    r"speaks (strongly|weakly) against|speaks in the verdict": "decisive, strong, in its favour",
    r"has not heard what": "does not know the time",
    r"no reading just now": "not connected",
    r"it only says: at least": "gives a minimum only",
    r"old figures": "not updated",
    r"\bA out of it\b": "A discharging",
    r"counted since it was last full": "counted since the last full charge",
    r"takes less than the sun": "nearly full: the solar charger is holding back",
    r"\bof it the fridge": "of which fridge",
    r"how last nights turned out": "past forecasts",
    r"\bcame to\b(?! (rest|an end|light))": "actual low",
    r"add up to": "the forecasts expected",
    r"\btake (about )?[\d.…]+ A less": "use … A less",
    r"bar: joined": "bar: batteries connected",
    r"drop against the starter": "voltage drop while cranking",
    r"\bbuilt with\b": "type",
    r"at leisure": "serve it as a page",
    r"\bseen all\b": "mark all as seen",
    r"so far it seems": "best guess",
    r"\bletters by\b": "typeface",
    r"no ampere-hour changes": "amp-hours are not affected",
    r"from its next beat": "within a second",
    r"present set-up is reproduced": "the model matches your log",
    r"is to stay in (it|the)": "kept back",
    r"try the deliveries": "send a test alert",
    r"tell that a battery": "record a new battery",
    r"\bnot yet: ": "not understood: …",
    r"\b0 min ago": "just now",
    r"^#+ (on a board|putting it|how you are told|when it speaks|the same as data|what is believed|what was reached|what is served)":
        "installing, commissioning, notifications, when it warns, JSON API, starting assumptions, measured accuracy, bundled files",
    r"when it is content": "when it passes",
    r"of life in the log": "of data",
}
#: Where such a word is right: names of code, an insulated cable that leaves its source, a bytecode that an installer leaves.
RIGHT = re.compile(r"leaves its|installer leaves it|told=True", re.I)


def test_nothing_that_a_person_reads_is_said_in_words_of_another_century() -> None:
    said = {re.compile(pattern, re.I): better for pattern, better in NOT_SAID.items()}
    any_of_them = re.compile("|".join(NOT_SAID), re.I)
    suspect = [(place, clean) for place, text in texts() if any_of_them.search(clean := RIGHT.sub("", text))]
    wrong = [f"{place}: {found.group()!r} -> {better}" for place, text in suspect for pattern, better in said.items()
             if (found := pattern.search(text))]
    assert not wrong, "\n".join(wrong)


def test_the_texts_that_are_read_are_found() -> None:
    """Pages, help of commands, alerts and docs are all among what is read here."""
    places = {}
    for place, text in texts():
        places.setdefault(place.partition(":")[0], []).append(text)
    assert any("Left until empty" in t for t in places["now.html"])
    assert any("Watch both batteries" in t for t in places["monitor/commands/run.py"])
    assert any("pull fuses one by one" in t for t in places["monitor/detection/starter/starter_alerts.py"])
    assert any("Mark as seen" in t for t in places["alerts.md"])
