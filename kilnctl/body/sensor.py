"""The thermocouple in its sheath: how quickly it follows its surroundings."""

from ..thermal.enclosure import SENSOR_EMISSIVITY, sensor_film
from ..thermal.surfaces import radiation_film

#: Share of the sheath's time constant that lies inside it and does not depend on the film (common practice: a quarter
#: to a third for a 3 mm sheath filled with magnesia).
INNER_SHARE = 0.3

#: Film and radiation of the sheath in still air at room temperature, W/(m²·K): the usual condition of a stated time
#: constant.
STILL_FILM = sensor_film(40.0, 20.0) + radiation_film(20.0, 20.1, SENSOR_EMISSIVITY)


def lag_share(film_w_per_m2k, radiation_w_per_m2k, still_w_per_m2k: float = STILL_FILM):
    """Time constant of the sheath over its time constant in still air at room temperature, dimensionless."""
    return INNER_SHARE + (1.0 - INNER_SHARE) * still_w_per_m2k / (film_w_per_m2k + radiation_w_per_m2k)
