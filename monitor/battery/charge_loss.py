"""How much of the charge that goes into a battery does not come out again, by construction: the one home of that number."""
from monitor.battery.label import CHEMISTRIES, Chemistry
from monitor.parameters import table

_TABLES = {name: table("battery", "lithium_iron" if name == "lfp" else name) for name in CHEMISTRIES}
FRAC: dict[Chemistry, float] = {name: rows.number("charge_loss_frac") for name, rows in _TABLES.items()}
#: One standard deviation over batteries and states of charge.
SIGMA_FRAC: dict[Chemistry, float] = {name: rows.sigma("charge_loss_frac") for name, rows in _TABLES.items()}
