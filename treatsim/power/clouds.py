"""Clouds that pass within an hour: the sun's disc is free or covered, the hour keeps its light.

Where the hour has less direct light than a clear sky, the disc is free for a share of it and
covered for the rest. When is drawn: the steps of each hour in which a smooth random line lies
highest are the free ones, as many as the light of the hour asks for. What the sky scatters stays as
it is.
"""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array
from treatsim.power.hours import LEAST_COSINE
from treatsim.power.monthly import clear_hours
from treatsim.power.sun import position
from treatsim.power.tables import SunParameters
from treatsim.power.weather import Weather

CYCLE = 15.0  # min from one cloud to the next where half of the sky is covered; common practice
REACH = 4  # deviations to which the smoothing reaches
MOST_DIRECT = 0.9  # of the light outside the air; common practice, no source


def passing(weather: Weather, sun: SunParameters, per_hour: int, draws: int, seed: int) -> Weather:
    """Return a weather in short steps with clouds that pass.

    Parameters
    ----------
    weather : Weather
        Light in steps of which so many make an hour, (1, steps), whole hours.
    sun : SunParameters
        Table [sun], for the clear sky.
    per_hour : int
        Steps of an hour.
    draws : int
        How often the clouds are drawn.
    seed : int
        Of the draw; the first draws are the same however many follow.

    Returns
    -------
    Weather
        (draws, steps); light on the horizontal, direct and scattered, keeps its mean over every
        hour.

    Validity
    --------
    Steps of one to five minutes. The brim of a cloud, which for seconds makes more light than a
    clear sky, is not in it, nor is the scattered light that changes with the cloud.

    Source
    ------
    common practice, no source: fields of small clouds of one or two kilometres, at 5 to 10 m/s;
    rice_1944
    """
    up = np.maximum(weather.sun.cos_zenith, 0.0)
    clear = np.maximum(
        clear_hours(weather.place, sun, weather.hour, weather.sun)[1], weather.dni[0]
    )
    free, asked = clear * up, weather.dni[0] * up
    line = _smooth(len(up), per_hour, draws, seed).reshape(draws, -1, per_hour)
    order = np.argsort(-line, axis=2)
    hours = np.broadcast_to(free.reshape(-1, per_hour), line.shape)
    in_turn = np.take_along_axis(hours, order, axis=2)
    before = np.cumsum(in_turn, axis=2) - in_turn
    left = asked.reshape(1, -1, per_hour).sum(axis=2, keepdims=True) - before
    share = np.clip(np.divide(left, in_turn, out=np.zeros_like(left), where=in_turn > 0), 0.0, 1.0)
    own = np.empty_like(share)
    np.put_along_axis(own, order, share, axis=2)
    own = own.reshape(draws, -1)

    def wide(values: Array) -> Array:
        return np.broadcast_to(values, own.shape)

    return weather._replace(
        ghi=weather.dhi + own * free, dhi=wide(weather.dhi), dni=own * clear,
        air_temperature=wide(weather.air_temperature), wind=wide(weather.wind),
    )  # fmt: skip


def _smooth(steps: int, per_hour: int, draws: int, seed: int) -> Array:
    """Return smooth random lines that rise through their mean once in CYCLE, (draws, steps).

    A line smoothed by a bell of deviation w rises so once in 2 pi sqrt(2) w (rice_1944).
    """
    width = CYCLE / 60 * per_hour / (2 * np.pi * np.sqrt(2))  # steps
    reach = int(np.ceil(REACH * width))
    bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) / width) ** 2)
    drawn = np.random.default_rng(seed).standard_normal((draws, steps + 2 * reach))
    return np.array([np.convolve(row, bell, mode="valid") for row in drawn])


def in_short_steps(weather: Weather, per_hour: int) -> Weather:
    """Return the first year of a weather in short steps that keep the light of each hour.

    Parameters
    ----------
    weather : Weather
        Hours, (years, hours).
    per_hour : int
        Steps of an hour.

    Returns
    -------
    Weather
        (1, steps). Direct light follows the height of the sun within the hour; what a low sun
        cannot have brought counts as scattered, even over the hour.

    Validity
    --------
    As the hours.

    Source
    ------
    definition
    """
    hour = (np.arange(len(weather.hour) * per_hour) + 0.5) / per_hour + weather.hour[0] - 0.5
    seen = position(weather.place, hour)
    up = np.maximum(seen.cos_zenith, 0.0).reshape(-1, per_hour)
    mean = up.mean(axis=1)
    beam = weather.ghi[0] - weather.dhi[0]
    most = MOST_DIRECT * weather.sun.normal
    direct = np.minimum(beam / np.maximum(mean, LEAST_COSINE), most) * (beam > 0)

    def held(values: Array) -> Array:
        return np.asarray(np.repeat(values, per_hour)[None, :])

    scattered, dni = held(weather.ghi[0] - direct * mean), held(direct)
    return weather._replace(
        hour=hour, sun=seen, ghi=scattered + dni * up.reshape(1, -1), dhi=scattered, dni=dni,
        air_temperature=held(weather.air_temperature[0]), wind=held(weather.wind[0]),
    )  # fmt: skip
