"""The walk from a blank board to a configuration: at most fifteen questions, each under a key of its own."""
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from drivers.errors import DriverError
from drivers.scan import Found, scan
from monitor.battery.label import CHEMISTRIES
from monitor.commissioning import devices, document, measuring, results, steps
from monitor.commissioning.answer_parsing import parse_board_and_fitted, parse_go, parse_label, parse_quantity
from monitor.commissioning.by_page import read_draft
from monitor.commissioning.channel_candidates import ChannelCandidate, list_candidates, match_candidates
from monitor.commissioning.identify_batteries import identify_batteries
from monitor.commissioning.questions import Prompter
from monitor.commissioning.steps import NotClear, Shown
from monitor.reporting.sentences import capitalise

#: quantity -> how it is asked for, and what is given up without it
CHANNELS = {
    "house_voltage_v": ("the HOUSE battery's voltage", "without it charge is only counted, never corrected"),
    "house_current_a": ("the HOUSE battery's current (the shunt)", "without it nothing is counted"),
    "starter_voltage_v": ("the STARTER battery's voltage", "without it starter and isolator are not watched"),
    "house_temperature_c": ("the HOUSE battery's temperature", "intervals are wider without it"),
    "solar_current_a": ("the solar current", "optional"),
}
KEYS = ("house", "starter", "modbus", *CHANNELS, "engine_start", "board", "all_off", "house_meter_v", "starter_meter_v", "load_on",
        "meter_a", "house_meter_under_load_v")
#: So long the two voltages are watched for a start of the engine, and a clear start is followed [s].
START_S, AFTER_S = 90.0, 3.0


@dataclass(slots=True)
class Interview:
    """One walk. sys and dev are where the kernel shows its devices, another folder than /sys and /dev only in trials;
    modbus is a Modbus device that is asked too, without a question."""

    asker: Prompter
    path: Path
    seconds: float = 5.0
    sys: Path = Path("/sys")
    dev: Path = Path("/dev")
    database: str = "ampledger.db"
    meter_v_frac: float = steps.METER_V_FRAC
    meter_a_frac: float = steps.METER_A_FRAC
    show: Callable[[str], Callable[[dict[str, float]], None]] = lambda _: lambda _: None
    modbus: str = ""
    where: dict[str, Any] | None = None

    def all(self, before: Any = None) -> results.Draft:
        """The whole walk; returns the configuration, which is not yet written anywhere."""
        say = self.asker.say
        house = self.asker.ask("house", "HOUSE battery: its kind and the ampere-hours on its label, as: agm 100\n"
                               f"(kinds: {', '.join(CHEMISTRIES)}; when in doubt flooded has caps to fill, agm has none, "
                               "lfp says lithium)", parse_label, document.describe_document(before, "house"))
        starter = self.asker.ask("starter", "STARTER battery, likewise", parse_label,
                                 document.describe_document(before, "starter") or "flooded 70")
        self.live(self._pins)
        every = self.find_channels()
        chosen = self.channels(every)
        draft = results.Draft(document.build_document(self.path.name, house, starter, chosen, self.database, before), self.path)
        self.live(lambda: read_draft(draft))
        if {"house_voltage_v", "starter_voltage_v"} <= chosen.keys():
            self.engine(draft)
        if "house_current_a" in chosen:
            self.board(draft)
        resting = self.all_off(draft) if "house_current_a" in chosen else None
        for quantity in ("house_voltage_v", "starter_voltage_v"):
            if quantity in chosen:
                self.voltage(draft, quantity)
        if "house_current_a" not in chosen:
            return draft
        if self.load(draft, resting):
            if "house_voltage_v" in chosen:
                self.lead(draft)
        else:
            say("The way the current counts was not tried: do it soon, on the page Instruments or with `ampledger calibrate direction`.")
        return draft

    def live(self, read: Callable[[], list[tuple[str, str]]]) -> None:
        """From now on these readings stand beside each question, where the questions are put by a page."""
        getattr(self.asker, "set_live", lambda _: None)(read)

    def _pins(self) -> list[tuple[str, str]]:
        """What the kernel's chips show at their pins."""
        return [(f"{one.title}, {c.channel}",
                 f"{c.value:.3f} {c.unit}") for one in scan(self.sys, self.dev) if one.driver in ("hwmon", "iio")
                for c in one.channels if c.value is not None]

    def find_channels(self) -> list[ChannelCandidate]:
        """Every channel that is there, shown with its reading."""
        found: list[Found] = []
        for one in scan(self.sys, self.dev):
            if one.driver == "serial":
                heard, why = devices.talking(one.options["port"])
                found.append(heard or Found("", {}, f"{one.title}: {why}"))
            else:
                found.append(self._with_root(one))
        self.asker.say("\nFound on this board:")
        for one in found:
            shows = ", ".join(f"{c.channel or c.unit} {'' if c.value is None else f'{c.value:.3f} {c.unit}'}".strip() for c in one.channels)
            self.asker.say(f"  {one.title}" + (f": {shows}" if shows else ""))
        if not found:
            self.asker.say("  nothing; is the chip's kernel module loaded, and 1-wire or I2C switched on?")
        every = list_candidates([one for one in found if one.driver])
        device = self._modbus(every, any(not one.driver for one in found))
        return [*every, *list_candidates([device] if device else [])]

    def _has_answer(self, key: str) -> bool:
        """Whether an answer to a question is there already."""
        return bool(getattr(self.asker, "has_answer", lambda _: False)(key))

    def _modbus(self, every: list[ChannelCandidate], silent: bool) -> Found | None:
        """A Modbus device: the one that was named, else asked for where something is still missing.

        every : channels that were found; silent : whether a serial port is there that says nothing by itself
        """
        if self.modbus:
            return self._device(self.modbus)
        needed = ("house_voltage_v", "house_current_a", "starter_voltage_v")
        taken: list[ChannelCandidate] = []
        for quantity in needed:
            taken += [offer for offer, likely in match_candidates(every, quantity, taken) if likely][:1]
        if len(taken) == len(needed) and not silent and not self._has_answer("modbus"):
            self.asker.say("A Modbus device as well? Begin again with --modbus and its address.")
            return None
        return self.asker.ask("modbus", "A Modbus device to ask as well? Its address (192.168.1.50 or 192.168.1.50:502) or serial port; "
                                "Enter: none", self._device, "none")

    def _with_root(self, one: Found) -> Found:
        """With the kernel's folder, where it is not the usual one."""
        places = {"hwmon": "class/hwmon", "iio": "bus/iio/devices", "w1": "bus/w1/devices"}
        if self.sys == Path("/sys") or one.driver not in places:
            return one
        return Found(one.driver, {**one.options, "root": self.sys / places[one.driver]}, one.title, one.channels)

    def _device(self, text: str) -> Found | None:
        if text in ("", "none", "no", "skip"):
            return None
        where = devices.place(text)
        try:
            found = devices.sunspec(where)
        except DriverError as error:
            raise NotClear(str(error)) from None
        if found is None:
            self.where = where
            self.asker.say("  It answers, but in a map of its own: where a channel is asked for, " + devices.REGISTER + ".")
        return found

    def channels(self, every: list[ChannelCandidate]) -> dict[str, ChannelCandidate]:
        """Which channel is which quantity."""
        chosen: dict[str, ChannelCandidate] = {}
        for quantity, (name, without) in CHANNELS.items():
            fits = match_candidates(every, quantity, list(chosen.values()))
            optional = quantity in ("house_temperature_c", "solar_current_a")
            if optional and not any(likely or quantity == "solar_current_a" for _, likely in fits):
                continue
            if not fits and self.where is None:
                self.asker.say(f"\nNothing here can measure {name}: {without}.")
                continue
            alone = quantity == "house_current_a" and [likely for _, likely in fits] == [True] and self.where is None
            if alone and not self._has_answer(quantity):
                chosen[quantity] = fits[0][0]
                self.asker.say(f"\n{capitalise(name)}: {fits[0][0].words}, the only current that is measured here.")
                continue
            listed = "".join(f"\n  {k}  {offer.words}: {offer.shows}" for k, (offer, _) in enumerate(fits, 1))
            offer = self.asker.ask(
                quantity, f"Which is {name}?{listed}\n  0  none ({without})",
                partial(self._channel, quantity=quantity, fits=[o for o, _ in fits]), "1" if fits and fits[0][1] else "0")
            if offer is not None:
                chosen[quantity] = offer
        if not chosen:
            raise NotClear("nothing was found that could be measured; see `ampledger docs wiring` and `ampledger docs drivers`")
        return chosen

    def _channel(self, text: str, quantity: str, fits: list[ChannelCandidate]) -> ChannelCandidate | None:
        if text in ("0", "none", "skip"):
            return None
        if text.isdigit() and 1 <= int(text) <= len(fits):
            return fits[int(text) - 1]
        named = [offer for offer in fits if text.lower() in (str(offer.channel).lower(), offer.words.lower())]
        if len(named) == 1:
            return named[0]
        if self.where is not None and not text.isdigit():
            spec = devices.register(text)
            value = devices.register_value(self.where, spec, quantity)
            unit = quantity.rpartition("_")[2].upper()
            self.asker.say(f"  It shows {value:.3f} {unit} now.")
            return ChannelCandidate("modbus", self.where, "Modbus device", spec, unit, value)
        raise NotClear(f"{text[:30]!r} is none of them; type a number from 0 to {len(fits)}")

    def engine(self, draft: results.Draft) -> None:
        """Which battery is which."""
        def do() -> str:
            rows = self.watch(draft, START_S, ("house_voltage_v", "starter_voltage_v"), begin_interview)
            verdict = identify_batteries([(r["at_s"], r["house_voltage_v"], r["starter_voltage_v"]) for r in rows])
            return draft.exchange(verdict.first_starts, verdict.seen)

        self.step("engine_start", "Which battery is which? Stop the engine; press Enter, wait three seconds, then START it and let it "
                  "run until this goes on; or type skip", do)

    def board(self, draft: results.Draft) -> None:
        """How this board is fed: a load that is on even when everything is off."""
        was = document.board(draft.doc)
        default = "" if was.supply == "unknown" else f"{was.supply.removesuffix('_shunt')} {was.current_a:g}".replace("elsewhere 0.25",
                                                                                                                      "elsewhere")
        supply, fitted = self.asker.ask(
            "board", "How is THIS BOARD fed, and with how many amperes (watts of its supply over 12; 0.25 if you do not know)?\n"
            "  through 0.25  from the house battery, its 0 V on the load side of the shunt: right\n"
            "  past 0.25     from the house battery, its 0 V at the battery: the shunt does not see it\n"
            "  elsewhere     not from the house battery\n"
            "After a comma, for the wiring picture, what else is fitted: relay or dc-dc (between the batteries), solar, solar 2 or\n"
            "no solar, shore (a charger from the mains), inverter, shunt in positive. As: through 0.25, relay, solar, shore\n"
            "Enter: do not know", parse_board_and_fitted, default)
        self.asker.say(draft.board(supply))
        if words := draft.note_fitted(fitted):
            self.asker.say(words)

    def all_off(self, draft: results.Draft) -> Shown | None:
        """The shunt's zero. Returns what was shown, also where it is skipped."""
        held: list[Shown] = []

        def do() -> str:
            held[:] = [self.current(draft)]
            return draft.zero(held[0])

        if not self.step("all_off", "Switch EVERYTHING off but this board: engine, loads, solar (cover the panel or open its fuse). Wait a "
                                    "minute and "
                         "press Enter; or type skip", do):
            return None
        return held[0]

    def voltage(self, draft: results.Draft, quantity: str) -> None:
        """A divider against the multimeter."""
        battery = results.BATTERY[quantity]
        rough = self.mean(draft, quantity).mean
        raw = not steps.POSTS_V[0] <= rough <= steps.POSTS_V[1]

        def parse(text: str) -> steps.Meter | float | None:
            if text.lower() == "" and raw:
                raise NotClear(f"the channel shows {rough:.2f} V, so a divider is in front of it whose ratio must be known; type "
                               "the volts at the posts, or the ratio as 5:1 (battery volts : pin volts), or skip to do it "
                               "later")
            if text.lower() in ("skip", ""):
                return None
            over, colon, under = text.partition(":")
            if colon:
                high, low = steps.compare_reading(over), steps.compare_reading(under)
                if not 1.0 <= high.value / (low.value or 1e9) <= 100.0:
                    raise NotClear(f"{text} is no ratio of a divider; 5:1 means five volts at the battery for one at the pin")
                return high.value / low.value
            return steps.compare_reading(text)

        while True:
            answer = self.asker.ask(f"{battery}_meter_v", f"Volts at the {battery.upper()} battery's posts by a multimeter "
                                    f"(the channel shows {rough:.3f})" + ("; skip: later" if raw else "; Enter: not now"), parse, "")
            try:
                if answer is None:
                    if raw:
                        self.asker.say("  " + draft.leave_open(quantity))
                    return
                if isinstance(answer, float):
                    self.asker.say("  " + draft.ratio(quantity, answer))
                else:
                    self.asker.say("  " + draft.voltage(quantity, answer, self.mean(draft, quantity), self.meter_v_frac))
                return
            except NotClear as why:
                self.asker.again(f"{battery}_meter_v", why)

    def load(self, draft: results.Draft, resting: Shown | None) -> bool:
        """The way the current counts, then its gain; whether a load was on."""
        if not self.step("load_on", "Switch a load of five amperes or more ON (lights, pump, fridge) and press Enter; or type skip",
                         lambda: draft.direction(self.current(draft).mean, None if resting is None else resting.mean, discharging=True)):
            return False
        while True:
            meter = self.asker.ask("meter_a", "Amperes by a multimeter or clamp meter in the battery's lead, while the load is on; "
                                   "Enter: not now", parse_quantity, "")
            if meter is None:
                return True
            try:
                self.asker.say("  " + draft.gain(meter, self.current(draft), self.meter_a_frac))
                return True
            except NotClear as why:
                self.asker.again("meter_a", why)

    def lead(self, draft: results.Draft) -> None:
        """What the voltage's lead loses."""
        while True:
            meter = self.asker.ask("house_meter_under_load_v", "Volts at the HOUSE battery's posts now, with the load still on; "
                                   "Enter: not now", parse_quantity, "")
            if meter is None:
                return
            try:
                rows = self.watch(draft, self.seconds, ("house_voltage_v", "house_current_a"))
                self.asker.say("  " + draft.lead(meter, *(steps.show_reading([r[q] for r in rows]) for q in ("house_voltage_v",
                                                                                                             "house_current_a"))))
                return
            except NotClear as why:
                self.asker.again("house_meter_under_load_v", why)

    def step(self, key: str, words: str, do: Callable[[], str]) -> bool:
        """Lets somebody do something and measures it, again until it is clear; False where it is skipped.

        key: the step's name; words: what to do; do: measures, returns what was found or raises NotClear.
        """
        while self.asker.ask(key, words, parse_go, ""):
            try:
                self.asker.say("  " + do())
                return True
            except NotClear as why:
                self.asker.again(key, why)
        return False

    def current(self, draft: results.Draft) -> Shown:
        """The house current over some seconds."""
        return self.mean(draft, "house_current_a")

    def mean(self, draft: results.Draft, quantity: str) -> Shown:
        """A quantity over some seconds."""
        return steps.show_reading([row[quantity] for row in self.watch(draft, self.seconds, (quantity,))])

    def watch(self, draft: results.Draft, seconds: float, quantities: tuple[str, ...],
              until: Callable[[measuring.Rows], bool] = lambda _: False) -> measuring.Rows:
        """Readings over some seconds.

        draft: the configuration being made; seconds: how long [s]; quantities: what has to be measured; until: ends it early once
        it holds.
        """
        return measuring.watch(draft.doc, draft.path, seconds, quantities, until, self.show(", ".join(quantities)))


def begin_interview(rows: measuring.Rows) -> bool:
    """Whether a start of the engine stands in the readings beyond doubt, some seconds ago."""
    if len(rows) % 10 or rows[-1]["at_s"] < AFTER_S:
        return False
    earlier = [(r["at_s"], r["house_voltage_v"], r["starter_voltage_v"]) for r in rows if r["at_s"] <= rows[-1]["at_s"] - AFTER_S]
    try:
        identify_batteries(earlier, known_start=False)
    except NotClear:
        return False
    return True
