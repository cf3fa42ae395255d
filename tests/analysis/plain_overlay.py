"""The afterglow's definition, plain and slow: one record after another, one column after another."""

from __future__ import annotations

import numpy as np


def plain_stretch(values, first_time, interval, raster, column):
    """Least and greatest value of the trace in one column, or None."""
    width = (raster.time_high - raster.time_low) / raster.width
    places = [(first_time - raster.time_low) / width + i * (interval / width) for i in range(len(values))]
    inside = [i for i, place in enumerate(places) if column <= place < column + 1]
    heights = [values[i] for i in inside]
    if inside and interval / width <= 1:
        if inside[-1] + 1 < len(values):
            heights.append(values[inside[-1] + 1])
    else:
        for i in range(len(values) - 1):
            for edge in (column, column + 1):
                if places[i] < edge <= places[i + 1]:
                    share = (edge - places[i]) / (places[i + 1] - places[i])
                    heights.append(values[i] + (values[i + 1] - values[i]) * share)
    return (min(heights), max(heights)) if heights else None


def plain_marks(values, first_time, interval, raster):
    """One record's picture, (height, width) of True and False."""
    marks = np.zeros((raster.height, raster.width), dtype=bool)
    tall = (raster.value_high - raster.value_low) / raster.height
    for column in range(raster.width):
        stretch = plain_stretch(values, first_time, interval, raster, column)
        if stretch is None:
            continue
        for row in range(raster.height):
            upper, lower = raster.value_high - row * tall, raster.value_high - (row + 1) * tall
            reaches_below_upper_edge = stretch[0] <= upper
            # the lower edge belongs to the next row, but for the last row
            last = row == raster.height - 1
            reaches_above_lower_edge = stretch[1] >= lower if last else stretch[1] > lower
            marks[row, column] = reaches_below_upper_edge and reaches_above_lower_edge
    return marks
