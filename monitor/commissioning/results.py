"""What each step changes in the configuration, with its date and doubt, and the sentence that tells it."""
from dataclasses import dataclass, fields
from math import hypot
from pathlib import Path

from tomlkit import TOMLDocument

from monitor.battery.label import BoardSupply
from monitor.commissioning import document, steps
from monitor.commissioning.answer_parsing import Fitted
from monitor.commissioning.steps import Meter, Shown
from monitor.findings import Z95

BATTERY = {"house_voltage_v": "house", "starter_voltage_v": "starter"}


@dataclass(slots=True)
class Draft:
    """A configuration that is being made, and where it is going to be."""

    doc: TOMLDocument
    path: Path

    def zero(self, current: Shown) -> str:
        """The shunt's zero from readings with everything off."""
        found, board = steps.zero(current), document.board(self.doc)
        drawn, words = 0.0, ""
        if board.supply == "through_shunt":
            drawn = board.current_a
            words = f" This board is a load and still on: its {drawn:g} A are not part of the zero, which is {found.value + drawn:+.3f} A."
        elif board.supply == "past_shunt":
            words = f" The {board.current_a:g} A of this board go past the shunt; they are booked as always on."
        elif board.supply == "unknown":
            words = (" If this board is fed from the house battery it is a load that was on: 0.2 to 0.3 A are hidden in this zero then, "
                     "for ever. Say in [board] how it is fed and measure the zero again.")
        sigma = hypot(found.sigma, board.current_sigma_a if drawn else 0.0)
        document.note_result(self.doc, "shunt", offset_a=found.value + drawn, offset_sigma_a=sigma, calibrated_on=document.today())
        return (f"With everything off the shunt shows {found.value:+.3f} A (give or take {Z95 * found.sigma:.3f} A)"
                + ("." if drawn else "; that is its zero now.") + words)

    def board(self, supply: BoardSupply) -> str:
        """How this board is fed."""
        known = supply.supply in ("through_shunt", "past_shunt")
        document.note_result(self.doc, "board", supply=supply.supply, current_a=supply.current_a if known else None)
        return {"through_shunt": f"The board counts as a load of {supply.current_a:g} A.",
                "past_shunt": f"The board's {supply.current_a:g} A bypass the shunt; they are booked. Better: its 0 V on the load side of "
                              "the shunt.",
                "elsewhere": "The board is no load of the house battery.",
                "unknown": "How the board is fed is left open: its 0.2 to 0.3 A may be missing from the count."}[supply.supply]

    def note_fitted(self, fitted: Fitted) -> str:
        """What else is wired; what was not named stays as it is. Returns what was noted, "" for nothing."""
        named = {f.name: value for f in fields(fitted) if (value := getattr(fitted, f.name)) is not None}
        if (charging := named.pop("charging", None)) is not None:
            document.note_result(self.doc, "vehicle", charging=charging)
        if named:
            document.note_result(self.doc, "wiring", **named)
        if charging is None and not named:
            return ""
        return "What is fitted is noted; the page Wiring draws it. More, and changes: [wiring] and [vehicle] in the configuration."

    def _turned_offset(self, offset_a: float) -> float:
        """The shunt's zero after the current was turned round: what the board drew had been taken off the wrong way."""
        board = document.board(self.doc)
        return -offset_a + (2 * board.current_a if board.supply == "through_shunt" else 0.0)

    def direction(self, current_a: float, before_a: float | None, discharging: bool) -> str:
        """The way the current counts.

        current_a: shown with the load or charger on [A]; before_a: shown without [A], None: not looked; discharging: a load is on,
        not a charger.
        """
        sign = steps.direction(current_a, before_a, discharging)
        words = "With the load on" if discharging else "With the charger on"
        said = f"{words} the current shows {current_a:+.2f} A"
        if sign < 0:
            key = document.multiply_scale(self.doc, "house_current_a", -1.0, self.path)
            offset, _ = document.shunt(self.doc)
            if offset.value:
                document.note_result(self.doc, "shunt", offset_a=self._turned_offset(offset.value))
            said += f": it counted the wrong way round, and is turned round now ({key})."
        else:
            said += ": it counts the right way."
        document.note_result(self.doc, "commissioning", direction_on=document.today())
        return said

    def gain(self, meter: Meter, current: Shown, limit_frac: float) -> str:
        """The shunt's gain against a multimeter.

        meter: what the multimeter says; current: what is shown meanwhile; limit_frac: a factor further from 1 is refused.
        """
        offset, _ = document.shunt(self.doc)
        found = steps.gain(meter, current, offset, limit_frac)
        said = f"{abs(meter.value):g} A by the meter, {abs(current.mean - offset.value):.2f} A by the shunt: "
        sigma_frac = found.sigma / found.value
        gain = found.value
        if abs(gain - 1.0) > steps.GAIN_FRAC:
            key = document.multiply_scale(self.doc, "house_current_a", found.value, self.path)
            document.note_result(self.doc, "shunt", offset_a=offset.value * found.value, offset_sigma_a=offset.sigma * found.value)
            said += f"the scale was wrong by a factor of {found.value:.3g} and is set ({key}); "
            gain = 1.0
        document.note_result(self.doc, "shunt", gain=gain, gain_sigma_frac=sigma_frac, calibrated_on=document.today())
        return said + f"gain {gain:.4g} (give or take {196 * sigma_frac:.1f} %)."

    def ratio(self, quantity: str, ratio: float) -> str:
        """A divider whose ratio somebody knows.

        quantity: which voltage; ratio: battery volts over pin volts
        """
        document.note_result(self.doc, "commissioning", **{f"{BATTERY[quantity]}_divider": None})
        return document.multiply_scale(self.doc, quantity, ratio, self.path) + "."

    def voltage(self, quantity: str, meter: Meter, voltage: Shown, limit_frac: float) -> str:
        """A voltage divider's ratio against a multimeter.

        quantity: which voltage; meter: what the multimeter says; voltage: what is shown meanwhile; limit_frac: a factor further
        from 1 is refused.
        """
        found = steps.voltage_factor(meter, voltage, limit_frac)
        key = document.multiply_scale(self.doc, quantity, found.value, self.path)
        name = quantity.removesuffix("_v")
        document.note_result(self.doc, "commissioning", **{
            f"{name}_sigma_frac": found.sigma / found.value, f"{name}_on": document.today(), f"{BATTERY[quantity]}_divider": None})
        return (f"{meter.value:g} V by the meter, {voltage.mean:.3f} V shown: {key} "
                f"(give or take {196 * found.sigma / found.value:.1f} %).")

    def leave_open(self, quantity: str) -> str:
        """A voltage whose divider is not known is measured and not believed: a guess would raise alarms, or hide them."""
        battery = BATTERY[quantity]
        document.note_result(self.doc, "commissioning", **{f"{battery}_divider": "unknown"})
        return (f"The {battery} battery's voltage is not shown or judged for now: its divider is not known. With a multimeter at hand "
                f"the page Instruments takes what it shows, or: ampledger calibrate divider --battery {battery} --meter-v VOLTS")

    def exchange(self, first_starts: bool, seen: str) -> str:
        """Which battery is which; first_starts: what is called house started the engine."""
        document.note_result(self.doc, "commissioning", which_on=document.today())
        if not first_starts:
            return f"The battery called starter started the engine ({seen}): they are called right."
        document.exchange_batteries(self.doc)
        held = self.doc["commissioning"]
        swapped = {"house": "starter", "starter": "house"}
        values = {f"{swapped[b]}_voltage_{end}": held.get(f"{b}_voltage_{end}") for b in swapped for end in ("sigma_frac", "on")}
        compared = any(value is not None for value in values.values())
        dividers = {f"{swapped[b]}_divider": held.get(f"{b}_divider") for b in swapped}
        document.note_result(self.doc, "commissioning", **values, **dividers)
        return (f"The battery called house started the engine ({seen}): the two had changed places, and are exchanged now."
                + (" Compare both voltages with the multimeter again: they were compared at the wrong posts." if compared else ""))

    def lead(self, meter: Meter, voltage: Shown, current: Shown) -> str:
        """What the voltage's lead loses under load.

        meter: read at the posts under load; voltage, current: shown meanwhile.
        """
        offset, gain = document.shunt(self.doc)
        flows = Shown((current.mean - offset.value) * gain.value, current.sigma, current.low, current.high, current.count)
        found = steps.lead_ohm(meter, voltage, flows)
        document.note_result(self.doc, "commissioning", house_lead_ohm=found.value, house_lead_sigma_ohm=max(found.sigma, 1e-5),
                       house_lead_on=document.today())
        lost = f"With {-flows.mean:.1f} A drawn, {1000 * -flows.mean * found.value:+.0f} mV are lost between the posts and the instrument"
        return lost + (
            "; that is in order." if not steps.is_lossy(found) else
            f", {1000 * found.value:.1f} mΩ: its lead is shared with a load or has a bad joint. Take a thin fused lead of its "
            "own straight to the posts.")
