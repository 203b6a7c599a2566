"""How long the sun is up where the vehicle stands, for places and clocks that are known."""
from monitor.parameters import table

P = table("usage", "daylight")
RISING_ZENITH_DEG = P.number("rising_zenith_deg")


def half_day_h(latitude_deg: float, year_day: float) -> float:
    """Hours from sunrise to solar noon, 0 to 12.

    Longitude and time zone do not matter, since solar noon is learnt from the harvest itself.

    Parameters
    ----------
    latitude_deg : north positive [°]
    year_day : 1 on the first of January; the year makes no difference of a minute

    Where the sun does not rise or set at all the answer is 0 or 12. Computed by the astral library
    (tests/published/test_solar_position.py holds it against NREL/TP-560-34302).
    """
    from astral.julian import julianday_to_juliancentury  # late: needed once a day, and only where a place is known
    from astral.sun import SunDirection, hour_angle, sun_declination

    declination_deg = sun_declination(julianday_to_juliancentury(2460310.5 + year_day))
    try:
        radians = hour_angle(latitude_deg, declination_deg, RISING_ZENITH_DEG, SunDirection.RISING)
    except ValueError:
        return 12.0 if latitude_deg * declination_deg > 0 else 0.0
    return radians * 12.0 / 3.141592653589793
