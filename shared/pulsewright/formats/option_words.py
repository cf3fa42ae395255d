"""Every option by which a person says how a file is to be understood: its name, its label, an example."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class OptionWord:
    """One option.

    Attributes
    ----------
    label : str
        What a person calls it.
    example : str
        A value as it would be written.
    help : str
        What it says, a sentence.
    """

    label: str
    example: str
    help: str


OPTIONS: dict[str, OptionWord] = {
    # ---- what every format needs -----------------------------------------------------------------------------------
    "sample_rate": OptionWord("Sample rate", "25 MHz", "Samples a second."),
    "pre_trigger": OptionWord("Pre-trigger", "200", "Samples of a record before its trigger."),
    "record_length": OptionWord("Record length", "2048", "Samples in a record, where all records follow one another."),
    "sample_type": OptionWord("Sample type", "int16", "Type in which samples are kept."),
    "names": OptionWord("Channel names", "H01,H02", "One for each channel, in the file's order."),
    "module_names": OptionWord("Module", "M1", "The module that carries the channels, or one for each channel."),
    "unit": OptionWord("Unit", "V", "Of the values; one for all channels, or one for each."),
    "scale": OptionWord("Scale", "0.5 mV", "Units for each code; one for all channels, or one for each."),
    "offset": OptionWord("Offset", "0", "Units at code 0; one for all channels, or one for each."),
    "delay": OptionWord("Delay", "12 ns", "Known cable and front-end delay; one for all channels, or one for each."),
    "end_codes": OptionWord("End codes", "-2048 .. 2047", "The converter's lowest and highest code, or none."),
    "trigger_times": OptionWord("Trigger times", "every 1 ms", "not known, every TIME, or the file's own."),
    "title": OptionWord("Title", "Tank, plate at stop 3", "A line that the session carries."),
    # ---- delimited text --------------------------------------------------------------------------------------------
    "encoding": OptionWord("Encoding", "utf-8", "How letters are stored."),
    "delimiter": OptionWord("Delimiter", "semicolon", "What stands between two columns."),
    "decimal": OptionWord("Decimal mark", "comma", "point or comma."),
    "comment": OptionWord("Comment mark", "#", "What a line begins with that is no data, or none."),
    "header_lines": OptionWord("Header lines", "1", "Lines before the first row of numbers, comments aside."),
    "time_column": OptionWord("Time column", "1", "Its number from 1 or its heading, or none."),
    "time_unit": OptionWord("Time unit", "ms", "Unit of the time column."),
    "record_column": OptionWord("Record column", "1", "Its number from 1 or its heading, or none."),
    "channel_column": OptionWord("Channel column", "2", "Long form: the column that names the channel, or none."),
    "value_columns": OptionWord("Value columns", "2,3", "Numbers from 1 or headings of the columns with samples."),
    # ---- arrays ----------------------------------------------------------------------------------------------------
    "dataset": OptionWord("Array", "/run3/waves", "The array or arrays with samples, by name or by path."),
    "axes": OptionWord("Axes", "records,channels,samples", "What the axes of the array are, the slowest first."),
    "times_from": OptionWord("Times from", "t", "The array of sample times, or none."),
    # ---- raw binary ------------------------------------------------------------------------------------------------
    "raw": OptionWord("Description", "layout.toml", "A TOML file that describes raw binary."),
}
"""In the order in which a person would want to see them; a name is also the command's option and the key in TOML."""
FOR_CHANNELS = ("names", "module_names", "unit", "scale", "offset", "delay", "end_codes")
"""The options that can be given for a single channel."""
