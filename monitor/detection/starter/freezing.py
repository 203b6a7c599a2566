"""At what temperature the acid of a lead-acid battery freezes, by charge left."""

#: Charge left against freezing point [°C]: US Army TM 5-4210-230-14&P-1, table 2.
FREEZING = ((0.0, -9.4), (0.25, -15.0), (0.50, -26.1), (0.75, -37.2), (1.0, -59.5))


def freezing_point_c(charge_frac: float) -> float:
    """Freezing point of the acid [°C] at a state of charge from 0 to 1; straight lines between the table's rows."""
    left = min(1.0, max(0.0, charge_frac))
    for (s0, t0), (s1, t1) in zip(FREEZING, FREEZING[1:]):
        if left <= s1:
            return t0 + (t1 - t0) * (left - s0) / (s1 - s0)
    return FREEZING[-1][1]
