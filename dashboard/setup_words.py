"""The questions of set-up as a phone puts them: what to do with the hands, then what to press."""
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Question:
    """One question: heading, what to do, the button that measures ("" where something is typed), and what to type."""

    heading: str
    text: str
    measure: str = ""
    field: str = ""


#: Quantities as a person calls them.
LABELS = {"house_voltage_v": "House voltage", "house_current_a": "House current", "starter_voltage_v": "Starter voltage",
          "house_temperature_c": "House battery temperature", "solar_current_a": "Solar current"}
QUESTIONS = {
    "house": Question("House battery", "What its label says: its kind and its ampere-hours, also when it is old."),
    "starter": Question("Starter battery", "What its label says."),
    "modbus": Question("A Modbus device?", "Only if one is connected: its address in the network, or its serial port.",
                       field="Address, as 192.168.1.50"),
    "house_voltage_v": Question("House voltage", "Which of these is the voltage of the house battery?"),
    "house_current_a": Question("House current", "Which of these is the current of the house battery, measured by the shunt?"),
    "starter_voltage_v": Question("Starter voltage", "Which of these is the voltage of the starter battery?"),
    "house_temperature_c": Question("House battery temperature", "Which of these sits on the house battery?"),
    "solar_current_a": Question("Solar current", "Is the current of the solar charger measured apart?"),
    "engine_start": Question("Which battery is which?",
                             "Stop the engine. Press the button, wait three seconds, then start the engine and let it "
                             "run until this page goes on. The battery that sags is the starter battery.", "Ready: watch for the start"),
    "board": Question("This board is a load",
                      "How is this board fed? Through the shunt (its 0 V on the load side: right), past it (0 V at the battery), "
                      "or from elsewhere. With amperes, if you know them: watts of its supply over 12. After a comma, for the wiring "
                      "picture, what else is fitted: relay or dc-dc, solar, solar 2 or no solar, shore, inverter, shunt in positive. "
                      "Skip it if you do not know.",
                      field="through 0.25, relay, solar, shore"),
    "all_off": Question("Zero of the shunt",
                        "Switch everything off but this board: engine, loads, solar (cover the panel or open its fuse). Wait a minute.",
                        "Everything is off: measure"),
    "house_meter_v": Question("House voltage by a multimeter",
                              "Hold the multimeter to the posts of the house battery and type what it shows. "
                              "Take care not to bridge them.", field="Volts, all digits, as 12.63"),
    "starter_meter_v": Question("Starter voltage by a multimeter",
                                "Hold the multimeter to the posts of the starter battery and type what it "
                                "shows; or the ratio of its divider, as 5:1.", field="Volts, all digits, as 12.71"),
    "load_on": Question("Which way the current counts", "Switch on a load of five amperes or more: lights, pump, fridge.",
                        "The load is on: measure"),
    "meter_a": Question("Current by a meter",
                        "With the load still on: amperes by a clamp meter in the battery's lead. A poor meter is worse than "
                        "none.", field="Amperes, all digits, as 8.16"),
    "house_meter_under_load_v": Question("Voltage under load", "With the load still on: volts at the posts of the house battery.",
                                         field="Volts, all digits, as 12.50"),
    "write": Question("Write it?", "This is the last question. Nothing has been written so far."),
    "done": Question("Done", ""),
}
