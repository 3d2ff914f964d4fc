"""Effect of the fill temperature's uncertainty and of the weather on a fill ceiling: the envelope's part, not the instrument's."""

from rimward.limits.ceiling.model import Envelope
from rimward.limits.uncertainty.gum import Combined, combine, normal, rectangular

WEATHER_PA = (
    3500.0  # half width of sea-level pressure about the standard, from a year of hourly readings
)
CHANGE_PA = 1000.0  # half width of its change during a ride, our choice


def envelope_uncertainty(
    limit_pa: int,
    envelope: Envelope,
    *,
    u_fill_k: float = 0.5,
    weather_pa: float = WEATHER_PA,
    change_pa: float = CHANGE_PA,
) -> Combined:
    """Return the combined uncertainty of the fill ceiling, pascal. The weather shifts both places together; its change shifts the ride alone."""
    fill_k = normal("fill temperature", u_fill_k, envelope.fill_ck / 100)
    weather = rectangular("weather", weather_pa)
    ride_ambient = (
        envelope.lowest_ambient_pa
        + weather
        + rectangular("change of weather on the ride", change_pa)
    )
    hottest = fill_k if envelope.hottest_ck == envelope.fill_ck else envelope.hottest_ck / 100
    return combine(
        (limit_pa + ride_ambient) * fill_k / hottest - (envelope.fill_ambient_pa + weather)
    )
