"""The numbers of a figure as a table: what can be copied from it, and what a reader without eyes on it needs. No Qt."""

from __future__ import annotations

from pulsewright_app.figures_data import JitterFigure, PositionsFigure, SkewFigure, TriggerGapsFigure
from pulsewright_app.wording import count

Figure = PositionsFigure | SkewFigure | JitterFigure | TriggerGapsFigure
Table = tuple[list[str], list[list[str]]]


def figure_table(figure: Figure) -> Table:
    """Return the headings and rows of a figure's numbers, in SI units at full precision.

    Parameters
    ----------
    figure : PositionsFigure, SkewFigure, JitterFigure or TriggerGapsFigure
    """
    if isinstance(figure, PositionsFigure):
        return _positions(figure)
    if isinstance(figure, SkewFigure):
        rows = zip(figure.channel, figure.module, figure.skew, figure.low, figure.high, strict=True)
        return (
            ["Channel", "Module", "Skew / s", "95 % from / s", "95 % to / s"],
            [[name, module, *map(_number, numbers)] for name, module, *numbers in rows],
        )
    if isinstance(figure, JitterFigure):
        ends = zip(figure.edges[:-1], figure.edges[1:], figure.counts, strict=True)
        return ["From / s", "To / s", "Records"], [[_number(a), _number(b), str(number)] for a, b, number in ends]
    gaps = zip(figure.after_record, figure.gap, figure.periods, figure.deviation, figure.missed, strict=True)
    return (
        ["After record", "Gap / s", "Whole periods", "Distance from them / s", "Missed"],
        [[str(r), _number(gap), str(p), _number(away), str(lost)] for r, gap, p, away, lost in gaps],
    )


def _positions(figure: PositionsFigure) -> Table:
    rows = zip(
        figure.record, figure.polarity, figure.position, figure.half_width, figure.residual,
        figure.residual_half_width, strict=True,
    )  # fmt: skip
    headings = [
        "Record", "Polarity", "Position / s", "U of the position / s", "Distance from the line / s",
        "U of the distance / s",
    ]  # fmt: skip
    return headings, [[str(record), str(sign), *map(_number, numbers)] for record, sign, *numbers in rows]


def _number(value: float) -> str:
    return "" if value != value else repr(float(value))


def tab_separated(figure: Figure) -> str:
    """Return a figure's numbers with tabs between the cells and a line for each row."""
    headings, rows = figure_table(figure)
    return "\n".join("\t".join(row) for row in [headings, *rows]) + "\n"


def in_words(figure: Figure) -> str:
    """Return what a figure shows, in sentences, for those who hear it."""
    told = [f"{figure.title}.", f"{figure.note[:1].upper()}{figure.note[1:]}."]
    if isinstance(figure, PositionsFigure):
        told.append(f"On the line: {int(figure.on_line.sum())} of {count(len(figure.record), 'record')}.")
        told += [f"{n} missed after record {r}." for r, n in zip(figure.missed_after, figure.missed_count, strict=True)]
    elif isinstance(figure, SkewFigure):
        away = [name for name, so in zip(figure.channel, figure.excludes_zero, strict=True) if so]
        told.append(f"Intervals that exclude 0: {', '.join(away)}." if away else "Every interval includes 0.")
        told += [f"Not measured: {', '.join(figure.not_measured)}."] if figure.not_measured else []
    elif isinstance(figure, JitterFigure):
        told.append(f"Curve: {figure.curve_name}.")
    else:
        lost = [f"{n} after record {r}" for r, n in zip(figure.after_record, figure.missed, strict=True) if n]
        told.append(f"Missed: {', '.join(lost)}." if lost else "No trigger is missing.")
    return " ".join(told)
