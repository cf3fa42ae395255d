"""The small figures of the findings, and the windows that show them large."""
