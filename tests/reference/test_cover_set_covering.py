"""Set covering against printed examples.

Winston, W. L.: Operations Research: Applications and Algorithms, 4th ed. (2004), section 9.2, example 5: fire stations
for six cities, each within 15 minutes of one; printed answer: two stations, in cities 2 and 4 (answer from memory).
Cormen, Leiserson, Rivest, Stein: Introduction to Algorithms, 3rd ed. (2009), figure 35.3: twelve points, six sets;
printed: the least cover has three sets, S3, S4, S5, and the greedy one four (sets written down from memory).
"""

from __future__ import annotations

from firstpull.mechanics.cover import Option, fewest

MINUTES = (
    (0, 10, 20, 30, 30, 20),
    (10, 0, 25, 35, 20, 10),
    (20, 25, 0, 15, 30, 20),
    (30, 35, 15, 0, 15, 25),
    (30, 20, 30, 15, 0, 14),
    (20, 10, 20, 25, 14, 0),
)
SETS = (
    {1, 2, 3, 4, 5, 6},
    {5, 6, 8, 9},
    {1, 4, 7, 10},
    {2, 5, 7, 8, 11},
    {3, 6, 9, 12},
    {10, 11},
)


def test_two_fire_stations_serve_six_cities() -> None:
    """Cities 2 and 4 are within 15 minutes of all six, and one station is not enough."""
    options = [
        Option(city, station, 0, 0)
        for city, row in enumerate(MINUTES)
        for station, minutes in enumerate(row)
        if minutes <= 15
    ]
    found = fewest(options, group_of=[0] * 6)
    assert [station + 1 for station in found.items] == [2, 4]
    assert found.proven
    assert found.least_items == 2


def test_three_sets_cover_twelve_points() -> None:
    """S3, S4 and S5 cover all points; taking the largest first would need four."""
    options = [Option(point - 1, place, 0, 0) for place, points in enumerate(SETS) for point in points]
    found = fewest(options, group_of=[0] * 6)
    assert [place + 1 for place in found.items] == [3, 4, 5]
    assert found.proven
