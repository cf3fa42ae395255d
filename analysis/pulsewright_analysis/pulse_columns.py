"""What stands in the columns of the two tables that the compiled search for pulses fills: see `pulse_kernels`."""

# whole numbers
RECORD, CHANNEL, POLARITY, FIRST, LAST, CLIPPED, CUT, AMBIGUOUS, PLACE = range(9)

# real numbers, in samples and in the channel's unit; a variance follows its value
(
    CONFIDENCE, AMPLITUDE, AMPLITUDE_VAR, WIDTH, WIDTH_VAR, MIDPOINT, MIDPOINT_VAR, LEADING, LEADING_VAR, CENTROID,
    CENTROID_VAR, PEAK, PEAK_VAR, RISE, RISE_VAR, FALL, FALL_VAR, OVERSHOOT, OVERSHOOT_VAR,
) = range(19)  # fmt: skip
WHOLE_COLUMNS = 9
REAL_COLUMNS = 19
